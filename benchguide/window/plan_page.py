"""The way in to any part: choose a device, a part to reach and parts that must stay; see what comes off, in which
order and why, on the part map and as a list.

It asks the planner in a thread and shows; it starts no job and writes no file by itself but the two prints.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded
from benchguide.procedure.planner import WayIn, plan_way_in
from benchguide.procedure.planner_why import CannotReach
from benchguide.procedure.words import Face
from benchguide.window import plan_print
from benchguide.window import plan_words as words
from benchguide.window.plan_asked import Asked, StartLike
from benchguide.window.records_background import Background
from benchguide.window.records_rows import RowList
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.plan_map import PlanMap
from benchguide.window.widgets.themed import Panel, label

#: a plan that is still being made after this many milliseconds says so and can be stopped
TELL_AFTER_MS = 200
CHECK_PRINT = " Lay a ruler on its 100 mm bar and enter what it shows: Shift+Z."


class PlanPage(QWidget):
    """Give it devices with `show_devices`; `left` when the person goes back, `job_wanted(procedure)` for a start."""

    left = Signal()
    job_wanted = Signal(object)

    def __init__(self, theme: Theme, folder: Path | None = None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._devices: list[Loaded[DeviceMap]] = []
        self._starts: Sequence[StartLike] = ()
        self.asked = Asked()
        self.way_in: WayIn | None = None
        self._number = 0
        self._planner = Background("way-in", self)
        self._planner.ready.connect(self._take)
        self.destroyed.connect(self._planner.ender())
        self._slow = QTimer(self, singleShot=True, interval=TELL_AFTER_MS)
        self._slow.timeout.connect(self._tell_planning)
        self._build(folder)

    # -- building

    def _build(self, folder: Path | None) -> None:
        gap = self.theme.sizes.gap
        across = QSplitter(Qt.Orientation.Horizontal)
        across.setChildrenCollapsible(False)
        across.setHandleWidth(gap)
        for place, (widget, share) in enumerate(
            ((self._make_parts(), 3), (self._make_middle(), 5), (self._make_plan(), 5))
        ):
            widget.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
            across.addWidget(widget)
            across.setStretchFactor(place, share)
        across.setSizes([300, 500, 500])
        self.setAccessibleName("Way in to a part")
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(gap)
        outer.addLayout(self._make_head())
        outer.addWidget(across, 1)
        outer.addLayout(self._make_foot(folder))
        self.said = label("", "strong", wrap=True)
        self.said.setAccessibleName("Result of printing")
        self.said.hide()
        outer.addWidget(self.said)

    def _make_head(self) -> QHBoxLayout:
        self.back = _button("Procedures  [Esc]", "Back to the procedures", self.left.emit)
        self.device = QComboBox()
        self.device.setAccessibleName("Device")
        # a long name must not widen the window
        self.device.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.device.setMinimumContentsLength(16)
        self.device.currentIndexChanged.connect(self._device_chosen)
        self.turn = _button("Turn over  [F10]", "Show the other side of the part map", self.turn_over)
        head = QHBoxLayout()
        head.setSpacing(self.theme.sizes.gap)
        head.addWidget(self.back)
        head.addWidget(label("Way in to a part", "heading"))
        head.addWidget(label("Device"))
        head.addWidget(self.device, 1)
        head.addWidget(self.turn)
        return head

    def _make_parts(self) -> QWidget:
        self.search = QLineEdit()
        self.search.setPlaceholderText("Search parts")
        self.search.setAccessibleName("Search parts by name")
        self.search.setClearButtonEnabled(True)
        self.search.textChanged.connect(lambda _text: self._show_parts())
        self.search.returnPressed.connect(self._take_first)
        self.parts = _PartList(self.theme, "Parts", self)
        self.parts.activated.connect(lambda _index: self.reach(self._in_hand()))
        self.parts.stay_asked.connect(lambda: self.toggle_stay(self._in_hand()))
        self.parts.selectionModel().currentChanged.connect(lambda *_: self._show_map())
        self.reach_key = _button(
            "Reach it  [Enter]", "Plan the way in to this part", lambda: self.reach(self._in_hand())
        )
        self.stay_key = _button("Must stay  [Space]", "This part must stay fitted, or need not",
                                lambda: self.toggle_stay(self._in_hand()))  # fmt: skip
        set_role(self.reach_key, "primary")
        return _column(self.theme, self.search, (self.parts, 1), self.reach_key, self.stay_key)

    def _make_middle(self) -> QWidget:
        self.map = PlanMap(self.theme)
        self.map.chosen.connect(self._clicked)
        self.map.stay_toggled.connect(self.toggle_stay)
        self.figures = label("", "strong", wrap=True)
        self.figures.setAccessibleName("Figures of the way in")
        return _column(self.theme, (self.map, 1), self.figures)

    def _make_plan(self) -> QWidget:
        self.refused = Panel(self.theme, "Cannot be reached", role="present")
        box = QVBoxLayout(self.refused)
        self.refusal = label("", "strong", wrap=True)
        self.rule = label("", "", wrap=True)
        for each in (self.refusal, self.rule):
            box.addWidget(each)
        box.addStretch(1)
        self.refused.hide()
        self.going = label("", "strong", wrap=True)
        self.stop_key = _button("Stop planning", "Stop planning", self.stop_planning)
        self.going.hide()
        self.stop_key.hide()
        self.order = RowList(self.theme, "Order of removal", self)
        self.order.selectionModel().currentChanged.connect(lambda *_: self._follow_order())
        self.starts = QWidget()
        self._start_box = QVBoxLayout(self.starts)
        self._start_box.setContentsMargins(0, 0, 0, 0)
        self.starts.hide()
        return _column(self.theme, self.refused, self.going, self.stop_key, (self.order, 1), self.starts)

    def _make_foot(self, folder: Path | None) -> QHBoxLayout:
        self.folder = QLineEdit(str(folder or ""))
        self.folder.setAccessibleName("Folder for prints")
        caption = label("Print to")
        caption.setBuddy(self.folder)
        self.paper = QComboBox()
        self.paper.addItems(list(plan_print.PAPERS))
        self.paper.setAccessibleName("Paper")
        self.placemat = _button(
            "Placemat 1:1  [Ctrl+P]", "Print the part map at 1:1 as a screw placemat", self.print_map
        )
        self.mat = _button("Parts mat  [Ctrl+M]", "Print the parts mat for this way in", self.print_mat)
        line = QHBoxLayout()
        line.setSpacing(self.theme.sizes.gap)
        for each in (caption, self.folder, self.paper, self.placemat, self.mat):
            line.addWidget(each, 1 if each is self.folder else 0)
        return line

    # -- devices and wishes

    def show_devices(self, devices: Sequence[Loaded[DeviceMap]], starts: Sequence[StartLike]) -> None:
        """Offer these part maps; `starts` are the procedures from which a job can be started."""
        self._devices, self._starts = list(devices), starts
        wanted = self.asked.device
        self.device.blockSignals(True)
        self.device.clear()
        self.device.addItems([loaded.model.name for loaded in self._devices])
        place = next((n for n, loaded in enumerate(self._devices) if loaded.model.id == wanted), 0)
        self.device.setCurrentIndex(place if self._devices else -1)
        self.device.blockSignals(False)
        self._renew()
        self._bring_to_hand(self.asked.target)

    @property
    def chosen_device(self) -> DeviceMap | None:
        """The part map in view."""
        place = self.device.currentIndex()
        return self._devices[place].model if 0 <= place < len(self._devices) else None

    def ask(self, asked: Asked) -> None:
        """Show this device and plan this way in, now or when the devices are there."""
        self.asked = asked
        self.search.clear()
        self.show_devices(self._devices, self._starts)

    def _device_chosen(self, _place: int) -> None:
        device = self.chosen_device
        if device is not None and device.id != self.asked.device:
            self.asked = Asked(device.id)
            self.search.clear()
            self.map.show_face(Face.BACK)
        self._renew()

    def reach(self, part: str) -> None:
        """Plan the way in to this part."""
        if part:
            self.asked = self.asked.reaching(part)
            self._renew()

    def toggle_stay(self, part: str) -> None:
        """This part must stay fitted, or need not any more."""
        if part:
            self.asked = self.asked.with_stay_toggled(part)
            self._renew()

    def _clicked(self, part: str) -> None:
        """A click in the map: the part is in hand in the list too, and to be reached."""
        self.search.clear()
        self.reach(part)
        self._bring_to_hand(part)

    def _bring_to_hand(self, part: str) -> None:
        keys = [row.key for row in self.parts.rows.rows]
        if part in keys:
            self.parts.setCurrentIndex(self.parts.rows.index(keys.index(part)))

    def _in_hand(self) -> str:
        row = self.parts.chosen()
        return row.key if row else ""

    def _take_first(self) -> None:
        """Return in the search field: the part in hand is the one to reach."""
        self.reach(self._in_hand())
        self.parts.setFocus()

    def turn_over(self) -> None:
        """Show the other side."""
        self.map.show_face(Face.FRONT if self.map.face is Face.BACK else Face.BACK)

    # -- planning

    def _renew(self) -> None:
        """The wish changed: ask the planner, forget what was planned before."""
        device = self.chosen_device
        self._number += 1
        self.way_in = None
        self.refused.hide()
        self._done_planning()
        if device is None:
            self.figures.setText("No part map could be read.")
            return
        self.asked = self.asked.on(device)
        self._show_parts()
        if not self.asked.target:
            self._show_way_in(None)
            self.figures.setText("Choose the part to reach: in the list, or with a click on the part map.")
            return
        asked = self.asked
        self._slow.start()
        self._planner.forget()
        self._planner.ask(self._number, lambda: plan_way_in(device, asked.target, asked.keep))

    def _tell_planning(self) -> None:
        self.going.setText("The way in is being planned …")
        self.going.show()
        self.stop_key.show()

    def _done_planning(self) -> None:
        self._slow.stop()
        self.going.hide()
        self.stop_key.hide()

    def stop_planning(self) -> None:
        """Wait no longer; what the planner still finds is dropped."""
        self._number += 1
        self._planner.forget()
        self._done_planning()
        self.figures.setText("Planning was stopped. Choose the part again to go on.")

    def _take(self, key: Any, result: Any) -> None:
        if isinstance(key, tuple):
            self._printed(result, key[1])
            return
        if key != self._number:
            return
        self._done_planning()
        if isinstance(result, WayIn):
            self._show_way_in(result)
            return
        self._show_way_in(None)
        sentence, rule = words.refusal(result) if isinstance(result, CannotReach) else (str(result), "")
        self.refusal.setText(f"Cannot be reached as asked. {sentence}")
        self.rule.setText(rule)
        self.refused.setAccessibleDescription(f"{sentence} {rule}")
        self.figures.setText("Cannot be reached as asked.")
        self.refused.show()

    # -- showing

    def _show_way_in(self, way_in: WayIn | None) -> None:
        self.way_in = way_in
        self.order.show_rows(words.plan_rows(way_in) if way_in else [])
        self.order.setVisible(way_in is not None)
        if way_in:
            self.figures.setText(words.summary(way_in))
            self.map.show_face(way_in.target.face)
        self.mat.setEnabled(way_in is not None)
        self._show_starts()
        self._show_parts()

    def _show_parts(self) -> None:
        device = self.chosen_device
        if device is None:
            return
        asked = self.asked
        self.parts.show_rows(
            words.part_rows(device, self.search.text(), asked.target, asked.keep, self.way_in)
        )
        self._show_map()

    def _show_map(self) -> None:
        device = self.chosen_device
        if device is None:
            return
        hand = self._in_hand()
        on = self.asked.keep if hand in self.asked.keep else ()
        self.stay_key.setText("May come off  [Space]" if on else "Must stay  [Space]")
        numbers = {t.part.id: n for n, t in enumerate(self.way_in.removals, 1)} if self.way_in else {}
        self.map.set_plan(device, numbers, self.asked.keep, self.asked.target, hand)

    def _follow_order(self) -> None:
        """The row of the order in hand is shown on the map too."""
        row = self.order.chosen()
        device = self.chosen_device
        if row is None or device is None or row.key not in device.by_id or not self.order.hasFocus():
            return
        self.map.show_face(device.by_id[row.key].face)
        if not self.search.text():
            self._bring_to_hand(row.key)

    def _show_starts(self) -> None:
        while (item := self._start_box.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        found = self.asked.starts(self._starts) if self.way_in else []
        for entry in found:
            button = _button(
                f"Job: {entry.title}",
                f"Start a job: {entry.title}",
                lambda entry=entry: self.job_wanted.emit(entry),
            )
            set_role(button, "primary")
            self._start_box.addWidget(button)
        if self.way_in and not found:
            self._start_box.addWidget(label("No procedure has this part as its target.", "soft", wrap=True))
        self.starts.setVisible(self.way_in is not None)

    # -- printing

    def print_map(self) -> None:
        """Write the placemat of the device in view."""
        device, folder = self.chosen_device, self._folder()
        if device is not None and folder is not None:
            paper = self.paper.currentText()
            self._print(lambda: plan_print.write_placemat(device, folder, paper))

    def print_mat(self) -> None:
        """Write the parts mat with labels for what comes off."""
        if self.way_in is None:
            self._say("Choose the part to reach first: the mat carries the labels of what comes off.")
            return
        way_in, folder, paper = self.way_in, self._folder(), self.paper.currentText()
        if folder is not None:
            parts = [removal.part for removal in way_in.removals]
            title = f"{way_in.device.name}: {way_in.target.name}"
            self._print(
                lambda: plan_print.write_parts_mat(way_in.device, parts, title, folder, paper), CHECK_PRINT
            )

    def _folder(self) -> Path | None:
        text = self.folder.text().strip()
        if not text:
            self._say("Write a folder to print to first.")
            self.folder.setFocus()
            return None
        return Path(text).expanduser()

    def _print(self, work: Any, then: str = "") -> None:
        self._say("Being written …")
        self._planner.ask(("print", then, object()), work)

    def _printed(self, result: Any, then: str) -> None:
        if isinstance(result, Exception):
            self._say(plan_print.trouble(result))
        else:
            self._say(f"Written: {result}. Print it at 100 %.{then}")

    def _say(self, sentence: str) -> None:
        self.said.setText(sentence)
        self.said.setVisible(bool(sentence))

    # -- coming and going

    def stop(self) -> None:
        """End the thread."""
        self._planner.stop()

    def ender(self) -> Callable[[], None]:
        """The same as `stop`, callable also when this page is gone."""
        return self._planner.ender()

    def keyPressEvent(self, event: Any) -> None:
        """Escape goes back, F10 turns the map over, Ctrl+F goes to the search, Ctrl+P and Ctrl+M print."""
        key, control = event.key(), event.modifiers() & Qt.KeyboardModifier.ControlModifier
        if key == Qt.Key.Key_Escape:
            self.left.emit()
        elif key == Qt.Key.Key_F10:
            self.turn_over()
        elif control and key == Qt.Key.Key_F:
            self.search.setFocus()
        elif control and key == Qt.Key.Key_P:
            self.print_map()
        elif control and key == Qt.Key.Key_M:
            self.print_mat()
        else:
            super().keyPressEvent(event)


class _PartList(RowList):
    """The parts; Space says that the one in hand must stay."""

    stay_asked = Signal()

    def keyPressEvent(self, event: Any) -> None:
        if event.key() == Qt.Key.Key_Space:
            self.stay_asked.emit()
        else:
            super().keyPressEvent(event)


def _button(text: str, name: str, then: Any) -> QPushButton:
    button = QPushButton(text)
    button.setAccessibleName(name)
    button.clicked.connect(lambda _checked=False: then())
    return button


def _column(theme: Theme, *widgets: QWidget | tuple[QWidget, int]) -> QWidget:
    made = QWidget()
    column = QVBoxLayout(made)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(theme.sizes.gap)
    for each in widgets:
        widget, stretch = each if isinstance(each, tuple) else (each, 0)
        column.addWidget(widget, stretch)
    return made
