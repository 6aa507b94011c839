"""The plan screen with the bundled part maps: by keyboard, by clicks on the part map, its prints, its refusals."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QImage
from PySide6.QtPdf import QPdfDocument
from PySide6.QtWidgets import QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from benchguide.bundled import procedures_folder
from benchguide.procedure.device import DeviceMap, Outline, Part
from benchguide.procedure.loader import Loaded
from benchguide.procedure.loader_yaml import Spot
from benchguide.procedure.planner import plan_way_in
from benchguide.procedure.shelf import Shelf
from benchguide.procedure.words import Face, PartKind
from benchguide.window import plan_words
from benchguide.window.plan_asked import Asked
from benchguide.window.plan_page import PlanPage
from benchguide.window.theme import DARK, LIGHT, Palette, Theme, apply_theme, sizes_on
from benchguide.window.widgets.plan_map import PlanMap

Key = Qt.Key
SHELF = Shelf((procedures_folder(),))


@pytest.fixture(params=[DARK, LIGHT], ids=["dark", "light"])
def theme(request: pytest.FixtureRequest, qapp: QApplication) -> Theme:
    palette: Palette = request.param
    made = Theme(palette, sizes_on(qapp.primaryScreen(), 70))
    apply_theme(qapp, made)
    return made


@pytest.fixture
def page(qtbot: QtBot, theme: Theme, tmp_path: Path) -> Iterator[PlanPage]:
    made = PlanPage(theme, tmp_path / "prints")
    devices = [entry.loaded for entry in SHELF.devices() if entry.loaded]
    made.show_devices(devices, SHELF.procedures())
    qtbot.addWidget(made)
    made.resize(1280, 720)
    with qtbot.waitExposed(made):
        made.show()
    yield made
    made.stop()


def handheld() -> DeviceMap:
    loaded = SHELF.device("gloamreed-b2") or next(e.loaded for e in SHELF.devices() if e.loaded)
    return loaded.model


def planned(qtbot: QtBot, page: PlanPage) -> None:
    qtbot.waitUntil(lambda: page.way_in is not None)


def spoken(page: PlanPage) -> str:
    return "\n".join(row.spoken for row in page.order.rows.rows)


def test_a_part_is_found_by_name_and_reached_by_keyboard(qtbot: QtBot, page: PlanPage) -> None:
    device = page.chosen_device
    assert device is not None
    part = device.parts[-1]
    qtbot.keyClicks(page.search, part.name.lower())
    assert part.id in [row.key for row in page.parts.rows.rows]
    while page.parts.chosen().key != part.id:  # type: ignore[union-attr]
        qtbot.keyClick(page.parts, Key.Key_Down)
    qtbot.keyClick(page.search, Key.Key_Return)
    planned(qtbot, page)
    expected = plan_way_in(device, part.id)
    keys = [row.key for row in page.order.rows.rows if row.lead]
    assert keys == [removal.part.id for removal in expected.removals]
    for removal in expected.removals:
        assert removal.why[1:] in spoken(page)
    assert plan_words.summary(expected) == page.figures.text()


def test_why_tool_time_flips_and_what_stays_are_told(qtbot: QtBot, page: PlanPage) -> None:
    device = page.chosen_device
    assert device is not None
    page.reach(device.parts[-1].id)
    planned(qtbot, page)
    way_in, text = page.way_in, spoken(page)
    assert way_in is not None
    assert text.count("Turn the device over") == way_in.flips
    assert text.count("(change)") == way_in.tool_changes
    for part in way_in.stays[:5]:
        assert part.name in text
    for removal in way_in.removals:
        for caution in removal.part.cautions:
            assert f"{caution.word.value}: {caution.text}" in text


def test_a_part_told_to_stay_is_kept_or_it_is_said_which_rule_forbids_it(
    qtbot: QtBot, page: PlanPage
) -> None:
    device = page.chosen_device
    assert device is not None
    way_in = next(
        way
        for way in (plan_way_in(device, part.id) for part in device.parts)
        if len(way.removals) > 3 and way.stays
    )
    page.reach(way_in.target.id)
    planned(qtbot, page)
    page.toggle_stay(way_in.stays[0].id)
    planned(qtbot, page)
    assert page.refused.isHidden()
    assert way_in.stays[0].name in next(r.spoken for r in page.order.rows.rows if r.key == "kept")
    page.toggle_stay(way_in.removals[0].part.id)
    qtbot.waitUntil(page.refused.isVisible)
    assert "must stay, but" in page.refusal.text()
    assert page.rule.text().startswith("Rule ")
    assert page.way_in is None
    assert not page.order.isVisible()
    page.toggle_stay(way_in.removals[0].part.id)
    planned(qtbot, page)
    assert not page.refused.isVisible()


def test_space_in_the_list_says_that_a_part_must_stay(qtbot: QtBot, page: PlanPage) -> None:
    page.parts.setFocus()
    hand = page.parts.chosen()
    assert hand is not None
    qtbot.keyClick(page.parts, Key.Key_Space)
    assert list(page.asked.keep) == [hand.key]
    assert "must stay" in page.parts.rows.rows[0].spoken
    qtbot.keyClick(page.parts, Key.Key_Space)
    assert not page.asked.keep


def test_a_click_on_the_part_map_chooses_the_part(qtbot: QtBot, page: PlanPage) -> None:
    device = page.chosen_device
    assert device is not None
    part = next(p for p in device.parts if p.kind is PartKind.SCREWS and p.face is Face.BACK)
    page.map.show_face(Face.BACK)
    origin, scale = page.map._scale()
    spot = origin + QPointF(*part.places[0]) * scale
    with qtbot.waitSignal(page.map.chosen) as signal:
        qtbot.mouseClick(page.map, Qt.MouseButton.LeftButton, pos=spot.toPoint())
    assert signal.args == [part.id]
    planned(qtbot, page)
    assert page.asked.target == part.id
    assert page.parts.chosen().key == part.id  # type: ignore[union-attr]


def test_clicks_at_one_place_go_through_what_lies_there(qtbot: QtBot, theme: Theme) -> None:
    map_ = small_map(qtbot, theme)
    middle = map_.rect().center()
    origin, scale = map_._scale()
    spot = (origin + QPointF(50, 30) * scale).toPoint()
    assert map_.rect().contains(middle)
    seen: list[str] = []
    map_.chosen.connect(seen.append)
    for _ in range(3):
        qtbot.mouseClick(map_, Qt.MouseButton.LeftButton, pos=spot)
    assert seen == ["plug", "board", "plug"]
    kept: list[str] = []
    map_.stay_toggled.connect(kept.append)
    qtbot.mouseClick(map_, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier, spot)
    assert kept == ["plug"]


def two_part_map() -> DeviceMap:
    return DeviceMap(
        benchguide="device/1",
        id="small",
        name="Small box",
        about="A box for tests.",
        outline=Outline(width_mm=100, height_mm=60),
        parts=(
            Part(id="board", kind=PartKind.MODULE, name="Board", box=(10, 10, 80, 40)),
            Part(id="plug", kind=PartKind.CONNECTOR, name="Plug", box=(45, 25, 10, 10), z_mm=2),
        ),
    )


def small_map(qtbot: QtBot, theme: Theme) -> PlanMap:
    made = PlanMap(theme)
    made.set_plan(two_part_map(), {"plug": 1, "board": 2}, (), "board")
    made.resize(500, 400)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    return made


@pytest.mark.parametrize("size", [(420, 300), (900, 700)])
def test_no_number_covers_another(qtbot: QtBot, theme: Theme, size: tuple[int, int]) -> None:
    for entry in SHELF.devices():
        assert entry.loaded is not None
        device = entry.loaded.model
        way_in = max((plan_way_in(device, p.id) for p in device.parts), key=lambda way: len(way.removals))
        map_ = PlanMap(theme)
        qtbot.addWidget(map_)
        map_.resize(*size)
        numbers = {t.part.id: n for n, t in enumerate(way_in.removals, 1)}
        map_.set_plan(device, numbers, (), way_in.target.id)
        for face in Face:
            map_.show_face(face)
            badges = map_.badges()
            assert {b.part for b in badges} == {p for p in numbers if device.by_id[p].face is face}
            for i, one in enumerate(badges):
                for other in badges[i + 1 :]:
                    apart = one.middle - other.middle
                    assert (apart.x() ** 2 + apart.y() ** 2) ** 0.5 >= 2 * one.radius


def test_marks_differ_by_shape_not_by_colour_alone(qtbot: QtBot, theme: Theme) -> None:
    """The number, the second rim of the part to reach and the barred sign each change the picture in grey too."""
    map_, device = PlanMap(theme), two_part_map()
    qtbot.addWidget(map_)
    map_.resize(500, 400)
    looks = []
    for numbers, keep, target in (
        ({"board": 1}, (), ""),
        ({"board": 2}, (), ""),
        ({"board": 1}, (), "board"),
        ({}, ("board",), ""),
    ):
        map_.set_plan(device, numbers, keep, target)
        looks.append(map_.grab().toImage().convertToFormat(QImage.Format.Format_Grayscale8))
    assert all(looks[i] != looks[j] for i in range(4) for j in range(i))


def test_a_job_can_be_started_where_a_procedure_has_this_target(qtbot: QtBot, page: PlanPage) -> None:
    entry = next(e for e in SHELF.procedures() if e.loaded and e.loaded.model.target)
    assert entry.loaded is not None
    procedure = entry.loaded.model
    page.ask(Asked(procedure.device, procedure.target or ""))
    planned(qtbot, page)
    button = next(b for b in page.starts.findChildren(QPushButton) if entry.title in b.text())
    with qtbot.waitSignal(page.job_wanted) as signal:
        button.click()
    assert signal.args == [entry]


def test_a_job_that_takes_off_what_must_stay_is_not_offered() -> None:
    entries = SHELF.procedures()
    entry = next(e for e in entries if e.loaded and e.loaded.model.target)
    assert entry.loaded is not None
    procedure = entry.loaded.model
    assert procedure.target is not None
    asked = Asked(procedure.device, procedure.target)
    assert entry in asked.starts(entries)
    moved = next(p for s in procedure.steps if s.action == "off" for p in s.parts)
    assert entry not in asked.with_stay_toggled(moved).starts(entries)


def test_another_device_starts_a_new_question(qtbot: QtBot, page: PlanPage) -> None:
    page.reach(page.parts.rows.rows[0].key)
    planned(qtbot, page)
    page.device.setCurrentIndex(1)
    assert page.way_in is None
    assert page.asked == Asked(page.chosen_device.id)  # type: ignore[union-attr]
    assert "Choose the part" in page.figures.text()


def test_placemat_and_parts_mat_are_written_and_told(qtbot: QtBot, page: PlanPage, tmp_path: Path) -> None:
    page.reach(page.parts.rows.rows[-1].key)
    planned(qtbot, page)
    for key, word in ((Key.Key_P, "placemat"), (Key.Key_M, "parts-mat")):
        qtbot.keyClick(page, key, Qt.KeyboardModifier.ControlModifier)
        qtbot.waitUntil(lambda word=word: word in page.said.text())  # type: ignore[misc]
        path = next((tmp_path / "prints").glob(f"*{word}*.pdf"))
        assert str(path) in page.said.text()
        document = QPdfDocument()
        document.load(str(path))
        assert document.pageCount() >= 1
        width, height = sorted((document.pagePointSize(0).width(), document.pagePointSize(0).height()))
        # ISO 216: A4 is 210 mm by 297 mm; a point is 1/72 inch
        assert width * 25.4 / 72 == pytest.approx(210, abs=0.5)
        assert height * 25.4 / 72 == pytest.approx(297, abs=0.5)


def test_a_folder_that_cannot_be_written_is_told(qtbot: QtBot, page: PlanPage, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    page.folder.setText(str(tmp_path / "file" / "prints"))
    page.print_map()
    qtbot.waitUntil(lambda: "could not be written" in page.said.text())
    page.folder.clear()
    page.print_map()
    assert "folder" in page.said.text()
    assert page.folder.hasFocus() or not page.isActiveWindow()


def test_a_loop_in_the_part_map_is_said(qtbot: QtBot, theme: Theme) -> None:
    device = two_part_map()
    board, plug = device.parts
    looped = device.model_copy(
        update={
            "parts": (
                board.model_copy(update={"held_by": ("plug",)}),
                plug.model_copy(update={"under": ("board",)}),
            )
        }
    )
    made = PlanPage(theme)
    qtbot.addWidget(made)
    made.show_devices([Loaded(looped, Path("small.device.yaml"), Spot(1, 1))], ())
    made.show()
    made.reach("board")
    qtbot.waitUntil(made.refused.isVisible)
    assert "loop" in made.refusal.text()
    assert "mended" in made.rule.text()
    made.stop()


def test_a_plan_that_takes_long_can_be_stopped(
    qtbot: QtBot, page: PlanPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    from threading import Event

    from benchguide.window import plan_page

    begun, go_on = Event(), Event()

    def slow(*_asked: object) -> object:
        begun.set()
        go_on.wait(20)
        raise AssertionError("dropped")

    monkeypatch.setattr(plan_page, "plan_way_in", slow)
    page.reach(page.parts.rows.rows[0].key)
    qtbot.waitUntil(page.stop_key.isVisible)
    assert begun.is_set()
    page.stop_key.click()
    assert "stopped" in page.figures.text()
    assert not page.stop_key.isVisible()
    monkeypatch.undo()
    go_on.set()
    page.reach(page.parts.rows.rows[1].key)
    planned(qtbot, page)


def test_everything_that_can_be_used_has_a_name_and_a_place_in_the_tab_order(page: PlanPage) -> None:
    usable = [
        w for w in page.findChildren(QWidget) if w.isVisible() and w.focusPolicy() & Qt.FocusPolicy.TabFocus
    ]
    seen: set[QWidget] = set()
    widget = page.nextInFocusChain()
    while widget is not None and widget is not page and widget not in seen:
        seen.add(widget)
        widget = widget.nextInFocusChain()
    for each in usable:
        assert each.accessibleName() or getattr(each, "text", str)(), each
        assert each in seen
    assert page.map.accessibleDescription()


def test_nothing_is_wider_than_a_small_window(qtbot: QtBot, page: PlanPage) -> None:
    page.reach(page.parts.rows.rows[-1].key)
    planned(qtbot, page)
    assert page.minimumSizeHint().width() <= 1240
    assert page.minimumSizeHint().height() <= 700
