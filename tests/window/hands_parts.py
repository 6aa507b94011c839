"""A bench for hands-free tests: real actions, question bar, driver and session; no camera picture, no layout."""

from pathlib import Path

from PySide6.QtWidgets import QVBoxLayout, QWidget

from benchguide.speech.recogniser import Heard
from benchguide.window.actions import Actions
from benchguide.window.bench_commands import BenchCommands
from benchguide.window.palette import DARK
from benchguide.window.raiser import Raiser
from benchguide.window.theme import Theme, sizes_for
from benchguide.window.widgets.question import QuestionBar
from tests.window.bench_parts import Parts


class HandsParts(Parts):
    """Parts with the actions connected, as the bench does it."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.window = QWidget()
        self.question = QuestionBar(Theme(DARK, sizes_for(80)))
        box = QVBoxLayout(self.window)
        box.addWidget(self.question)
        self.actions = Actions(self.window)
        self.commands = BenchCommands(self.actions, self.driver, self.question)
        self.raiser = Raiser(self.actions, self.question, lambda: self.driver)
        self.window.show()

    def close(self) -> None:
        self.commands.release()
        super().close()


def heard(command: str, number: int | None = None, risky: bool = False) -> Heard:
    """What the recogniser would hand on."""
    return Heard(command, command, 0.0, 1.0, 0.9, number, risky)
