"""Page boxes and scale of what is printed, against the paper standards.

ISO 216:2007: A4 210 x 297 mm, A5 148 x 210 mm, tolerance 1.5 mm up to 150 mm and 2 mm up to 600 mm (clause 5).
US Letter: 8.5 x 11 inches (ANSI/ASME Y14.1, size A). PDF unit: 1/72 inch (ISO 32000-1, 8.3.2.3). ID-1 card: 85.60 mm
(ISO/IEC 7810:2019, 5). Read with poppler's pdfinfo and pdftoppm, which know nothing of Qt.
"""

import subprocess

import numpy as np
import pytest

from benchguide.camera.mat_check import CARD_MM
from benchguide.camera.mat_layout import BAR_MM, mat_layout
from benchguide.window.print_mat import write_mat
from benchguide.window.print_page import PAPER_MM, open_sheet

PUBLISHED_MM = {"A4": (210.0, 297.0), "A5": (148.0, 210.0), "Letter": (8.5 * 25.4, 11 * 25.4)}


@pytest.mark.parametrize("paper", PUBLISHED_MM)
def test_page_box_is_the_published_size(paper, tmp_path):
    assert PAPER_MM[paper] == pytest.approx(PUBLISHED_MM[paper])
    layout = mat_layout(paper)
    assert (layout.height_mm, layout.width_mm) == pytest.approx(PUBLISHED_MM[paper])
    write_mat(layout, tmp_path / "mat.pdf", "Test")
    told = subprocess.run(
        ["pdfinfo", str(tmp_path / "mat.pdf")], check=True, capture_output=True, text=True
    ).stdout
    words = next(line for line in told.splitlines() if line.startswith("Page size")).split()
    width, height = float(words[2]) * 25.4 / 72, float(words[4]) * 25.4 / 72
    # Qt rounds the page box to whole points, a third of a millimetre; the standard allows 1.5 mm
    assert (height, width) == pytest.approx(PUBLISHED_MM[paper], abs=0.2)


@pytest.mark.parametrize("dpi", [300, 600])
def test_a_square_of_100_mm_is_100_mm(dpi, tmp_path):
    with open_sheet(tmp_path / "square.pdf", "A4", landscape=False, title="Square") as sheet:
        sheet.fill()
        sheet.painter.drawRect(sheet.rect(20, 30, BAR_MM, BAR_MM))
        sheet.painter.drawRect(sheet.rect(20, 200, CARD_MM, 10))
    out = subprocess.run(
        ["pdftoppm", "-gray", "-r", str(dpi), str(tmp_path / "square.pdf")], check=True, capture_output=True
    ).stdout
    _, size, _, data = out.split(b"\n", 3)
    width, height = (int(n) for n in size.split())
    page = np.frombuffer(data, np.uint8).reshape(height, width) / 255
    per_mm = dpi / 25.4
    across, down = (1 - page[round(80 * per_mm)]).sum(), (1 - page[:, round(119 * per_mm)]).sum()
    assert across / per_mm == pytest.approx(100.0, abs=0.1)
    assert down / per_mm == pytest.approx(100.0, abs=0.1)
    card = (1 - page[round(205 * per_mm)]).sum()
    assert card / per_mm == pytest.approx(85.60, abs=0.1)
