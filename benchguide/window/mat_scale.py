"""Asks what a ruler shows on the 100 mm bar of the printed parts mat, keeps it and hands it to whatever reads the mat.

A printer that fits the page to its paper shrinks the mat by a few percent, and every length with it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from benchguide.camera.mat_check import scale_by_ruler
from benchguide.window.settings import Settings
from benchguide.window.widgets.question import Field

if TYPE_CHECKING:
    from benchguide.window.app import Bench

UNKNOWN = "The print was not checked: lay a ruler on the 100 mm bar of the mat and enter what it shows."


def scale_words(settings: Settings) -> tuple[bool | None, str]:
    """Whether the print is right (None where nobody measured it), and that in one sentence."""
    if not settings.mat_bar_mm:
        return None, UNKNOWN
    scale = scale_by_ruler(settings.mat_bar_mm)
    read = f"The 100 mm bar measures {settings.mat_bar_mm:g} mm"
    if scale.wrong:
        return False, f"{read}: print the mat again at 100 %. Until then lengths are corrected by that."
    return True, f"{read}: the print is right."


class MatScale(QObject):
    """One for the life of the window."""

    changed = Signal()

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._bench = bench
        bench.shell.actions_by_name["mat-scale"].triggered.connect(self.ask)
        self._use()

    def ask(self) -> None:
        """Ask for the length of the bar; 0 forgets it, for another print."""
        now = self._bench.settings.mat_bar_mm
        field = Field(
            "bar", "Length of the bar in mm (0: not measured)", kind="number", default=f"{now or 100:g}"
        )
        self._bench.shell.question.ask(
            "What does a ruler show on the 100 mm bar of the printed mat?",
            [field],
            "Keep",
            lambda answers: self._keep(answers["bar"]),
        )

    def _keep(self, text: str) -> None:
        bench = self._bench
        try:
            bar = float(text)
            if bar:
                scale_by_ruler(bar)
        except ValueError:
            bench.shell.message.warn(
                "Enter the length of the bar in mm as a ruler shows it, for example 99.5."
            )
            return
        bench.remember(replace(bench.settings, mat_bar_mm=bar))
        self._use()
        right, told = scale_words(bench.settings)
        (bench.shell.message.warn if right is False else bench.shell.message.say)(told)
        self.changed.emit()

    def _use(self) -> None:
        self._bench.eyes.mat.bar_mm = self._bench.settings.mat_bar_mm or None
