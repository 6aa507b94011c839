"""Commands of the window as a whole: theme, text size, camera, pages of information, quit. Not the bench's."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from benchguide.camera.local import list_cameras
from benchguide.camera.source import parse_source
from benchguide.window.info import keys_page, safety_page
from benchguide.window.plan_asked import Asked
from benchguide.window.widgets.question import Field

if TYPE_CHECKING:
    from benchguide.window.app import Bench

DISTANCES = (40, 50, 65, 80, 100, 120, 150, 180, 200, 250, 300)
OTHER = "another address"


class WindowCommands(QObject):
    """Connects the window's own actions."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._bench = bench
        self._before_info = "procedures"
        handlers = {
            "plan": self._show_plan,
            "theme": self._swap_theme,
            "farther": lambda: self._move(+1),
            "nearer": lambda: self._move(-1),
            "camera": self._ask_camera,
            "cautions": lambda: self._show_info("cautions"),
            "keys": lambda: self._show_info("keys"),
            "quit": bench.shell.close,
        }
        for name, handler in handlers.items():
            bench.shell.actions_by_name[name].triggered.connect(handler)

    def _swap_theme(self) -> None:
        settings = self._bench.settings
        self._bench.change_settings(replace(settings, theme="light" if settings.theme == "dark" else "dark"))

    def _show_plan(self) -> None:
        """The plan page; with a job on the bench, for its device."""
        driver, room = self._bench.driver, self._bench.procedures_room
        asked = None
        if driver and driver.state.open and room.plan.asked.device != driver.state.job.device.id:
            asked = Asked(driver.state.job.device.id)
        self._bench.shell.show_room("procedures")
        room.show_plan(asked)

    def _move(self, by: int) -> None:
        """One notch nearer or farther."""
        settings = self._bench.settings
        now = self._bench.theme.sizes.distance_cm
        nearest = min(range(len(DISTANCES)), key=lambda i: abs(DISTANCES[i] - now))
        distance = DISTANCES[min(len(DISTANCES) - 1, max(0, nearest + by))]
        self._bench.change_settings(replace(settings, distance_cm=distance))
        self._bench.shell.message.say(f"Text for a person {distance} cm away.")

    def _ask_camera(self) -> None:
        choices = [f"camera:{port.address}" for port in list_cameras()]
        choices += ["simulated", OTHER]
        now = self._bench.settings.camera
        fields = [
            Field(
                "camera",
                "Camera",
                kind="choice",
                choices=tuple(choices),
                default=now if now in choices else OTHER,
            ),
            Field("address", "Address, for another", required=False, default="" if now in choices else now),
        ]
        self._bench.shell.question.ask("Which camera looks at the bench?", fields, "Use it", self._use_camera)

    def _use_camera(self, answers: dict[str, str]) -> None:
        text = answers["address"].strip() if answers["camera"] == OTHER else answers["camera"]
        try:
            parse_source(text)
        except ValueError as error:
            self._bench.shell.message.warn(str(error))
            return
        self._bench.change_settings(replace(self._bench.settings, camera=text))

    def _show_info(self, name: str) -> None:
        shell = self._bench.shell
        self._before_info = shell.room or self._before_info
        page = keys_page(self._bench.theme) if name == "keys" else safety_page(self._bench.theme)
        page.left.connect(lambda: shell.show_room(self._before_info))
        shell.show_page(page)
