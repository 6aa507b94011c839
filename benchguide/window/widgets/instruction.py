"""One instruction at a time: where we are, the cautions before it, the instruction, key point and reason.

It shows a step; it does not decide which, and it never cuts a text: what does not fit is scrolled to,
and a mark says that there is more.
"""

from collections.abc import Iterator, Sequence

from PySide6.QtCore import QCoreApplication, QEvent, QRect, QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLabel, QPushButton, QScrollArea, QSizePolicy, QWidget

from benchguide.procedure.device import Caution, DeviceMap
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS, SignalWord, Stage
from benchguide.session.gate import Gate
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.caution import CautionPanel
from benchguide.window.widgets.marks import described, marks_of
from benchguide.window.widgets.step_text import Block, StepText, StepWords
from benchguide.window.widgets.themed import Panel, label

STAGE_NAMES = {
    Stage.PREPARATION: "Preparation",
    Stage.WAY_IN: "Way in",
    Stage.SWAP: "Swap",
    Stage.WAY_BACK: "Way back",
    Stage.TEST: "Test",
    Stage.SEAL: "Sealing",
    Stage.CLOSE_OUT: "Close-out",
}
_SEVERITY = list(SignalWord)


def cautions_of(step: Step, device: DeviceMap) -> tuple[Caution, ...]:
    """The cautions of a step and of the parts it moves, the most severe first, none twice."""
    found = list(step.cautions)
    if step.action in REMOVALS | REFITS:
        for name in step.parts:
            found += device.by_id[name].cautions if name in device.by_id else ()
    return tuple(sorted(dict.fromkeys(found), key=lambda c: _SEVERITY.index(c.word)))


class InstructionPanel(Panel):
    """The left side of the bench."""

    more_below_changed = Signal(bool)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, "Instruction", parent)
        self._cautions: list[CautionPanel] = []
        self.stage = label(role="accent")
        self.number = label(role="strong")
        self.holds = label(role="soft")
        self.words = StepText(theme)
        self.words.stand_on("panel")
        names = ("text", "parts", "moved", "laid", "tool", "key_point", "reason")
        blocks = [Block(self.words, name) for name in names]
        self.text, self.parts, self.moved, self.laid, self.tool, self.key_point, self.reason = blocks
        self._page = QWidget()
        set_role(self._page, "page")
        self._cut = False
        self._arranged: tuple[object, ...] = ()
        self._waiting = False
        self._measures: tuple[int, int] | None = None
        self.pages = QScrollArea()
        self.more = QPushButton("↓  More below")
        self._build()
        self.restyle()

    def _build(self) -> None:
        for part in (self.stage, self.number, self.holds, self.pages, self.more):
            part.setParent(self)
        self.words.setParent(self._page)
        self.pages.setWidget(self._page)
        self.pages.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.pages.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.pages.setAccessibleName("Instruction text")
        self.pages.verticalScrollBar().valueChanged.connect(self._look_below)
        self.more.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.more.setAccessibleName("Show the text below")
        self.more.clicked.connect(self.show_more)
        set_role(self.more, "more")
        self.more.setVisible(False)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def restyle(self) -> None:
        """Spacing follows the sizes."""
        self._measures = None
        self.pages.verticalScrollBar().setSingleStep(round(self.theme.sizes.body_px * 2))
        self.arrange()

    # -- places: worked out here in one go, from top to bottom

    def arrange(self) -> None:
        """Place everything for the size there is."""
        gap = self.theme.sizes.gap
        room = self.contentsRect().adjusted(2 * gap, round(1.5 * gap), -gap, -round(1.5 * gap))
        if room.width() <= 0 or room.height() <= 0:
            return
        head = self._arrange_head(room)
        wide = self.text_width()
        high = self._arrange_page(wide)
        view = room.adjusted(0, head + gap, 0, 0)
        below = self._usual()[1] + gap
        # its room stays until the end is reached: text that jumps while it is read is lost
        self._cut = high > view.height()
        # a bar that comes only when it is needed comes a round late
        on, off = Qt.ScrollBarPolicy.ScrollBarAlwaysOn, Qt.ScrollBarPolicy.ScrollBarAlwaysOff
        self.pages.setVerticalScrollBarPolicy(on if self._cut else off)
        if self._cut:
            self.more.setGeometry(view.left(), view.bottom() + 1 - below + gap, view.width(), below - gap)
            view.adjust(0, 0, 0, -below)
        self.pages.setGeometry(view)
        self._page.resize(wide + gap, max(high, view.height() - 2 * self.pages.frameWidth()))
        self._look_below()
        self._arranged = self._key()
        # the texts that were just set have asked for this
        QCoreApplication.removePostedEvents(self, QEvent.Type.LayoutRequest.value)

    def _usual(self) -> tuple[int, int]:
        """Width of the scroll bar and height of the mark below the text: asked for once a look."""
        if self._measures is None:
            bar = self.pages.verticalScrollBar()
            for each in (bar, self.more):
                each.ensurePolished()
            self._measures = (bar.sizeHint().width(), self.more.sizeHint().height())
        return self._measures

    def changeEvent(self, event: QEvent) -> None:
        """A new sheet may bring other sizes."""
        if event.type() in (QEvent.Type.StyleChange, QEvent.Type.FontChange):
            self._measures = None
        super().changeEvent(event)

    def _key(self) -> tuple[object, ...]:
        """What the places follow from."""
        head = (self.stage.text(), self.number.text(), self.holds.text(), self.stage.font())
        said = tuple((each.word, each.text) for each in self.cautions)
        return self.size(), head, said, self.words.words, self.theme

    def text_width(self) -> int:
        """Width of the text in pixels; the scroll bar's room is left free whether there is one or not."""
        gap, bar = self.theme.sizes.gap, self._usual()[0]
        inside = self.contentsRect().width() - 3 * gap
        return max(1, inside - 2 * self.pages.frameWidth() - bar - gap)

    def _arrange_head(self, room: QRect) -> int:
        """Stage and number at the left, open hold points at the right; gives their height."""
        gap = self.theme.sizes.gap
        sizes = {part: part.sizeHint() for part in (self.stage, self.number, self.holds)}
        high = max(size.height() for size in sizes.values())
        left = room.left()
        for part in (self.stage, self.number):
            part.setGeometry(left, room.top(), sizes[part].width(), high)
            left += sizes[part].width() + 2 * gap
        # half a word says nothing: the hold point itself stands below
        wide = sizes[self.holds].width()
        if left - gap + wide > room.right() + 1:
            wide = 0
        self.holds.setGeometry(
            room.right() + 1 - max(0, min(gap, room.right() + 1 - wide - left)) - wide, room.top(), wide, high
        )
        return high

    def _arrange_page(self, wide: int) -> int:
        """Cautions over the words; gives their height."""
        gap, top = self.theme.sizes.gap, 0
        for each in (*self.cautions, self.words):
            high = each.heightForWidth(wide)
            each.setGeometry(0, top, wide, high)
            top += high + gap
        return top - gap

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Everything moves with the size, once the words that go with it are known."""
        super().resizeEvent(event)
        if not self._waiting:
            self.arrange()

    def event(self, event: QEvent) -> bool:
        """A new sheet may bring other type; a text that was just shown is in its place already."""
        if event.type() is QEvent.Type.LayoutRequest:
            if self._arranged != self._key():
                self.arrange()
            return True
        return super().event(event)

    def minimumSizeHint(self) -> QSize:
        """Narrow and low: the text wraps and scrolls."""
        em = self.theme.sizes.body_px
        return QSize(round(14 * em), round(6 * em))

    def wait_for_step(self) -> None:
        """A step is shown in a moment: until then another size moves nothing."""
        self._waiting = True

    def show_step(
        self, step: Step, device: DeviceMap, number: int, total: int,
        gates: Sequence[Gate] = (), moved: str = "", laid: str = "",
    ) -> None:  # fmt: skip
        """Show `step` as number `number` of `total`; `moved` says what it moves, else its parts are named; `laid`
        where the step comes from when the way back was laid from what came off."""
        self.stage.setText(STAGE_NAMES[step.stage])
        self.number.setText(f"Step {number} of {total}")
        self._show_cautions(cautions_of(step, device))
        self.words.show_words(words_of(step, device, moved, laid))
        self.set_gates(gates)
        self._waiting = False
        self.arrange()
        self.pages.verticalScrollBar().setValue(0)
        self.setAccessibleDescription(f"{self.number.text()}. {step.text}")

    def set_gates(self, gates: Sequence[Gate]) -> None:
        """Say in the head how many hold points are open."""
        count = len(gates)
        words = "1 hold point open" if count == 1 else f"{count} hold points open"
        _fill(self.holds, words if count else "")

    def show_more(self) -> None:
        """Scroll down by what is visible now, less a line."""
        bar = self.pages.verticalScrollBar()
        bar.setValue(bar.value() + max(bar.singleStep(), bar.pageStep() - bar.singleStep()))

    @property
    def more_below(self) -> bool:
        """True while some of the text is below the edge."""
        bar = self.pages.verticalScrollBar()
        return bar.value() < bar.maximum()

    def _look_below(self, *_: int) -> None:
        below = self._cut and self.more_below
        if below == self.more.isHidden():
            self.more.setVisible(below)
            self.more_below_changed.emit(below)

    def prepare(self, step: Step, device: DeviceMap, moved: str = "", laid: str = "") -> Iterator[None]:
        """Draw words and cautions of a step ahead of time, a little at each turn; the rest as in `show_step`."""
        cautions = cautions_of(step, device)
        width = self.text_width()
        yield from self.words.prepare(words_of(step, device, moved, laid), width)
        for number, caution in enumerate(cautions):
            if number == len(self._cautions):
                self._add_caution()
            self._cautions[number].prepare(caution.word, caution.text, width)
            yield

    def _add_caution(self) -> None:
        panel = CautionPanel(self.theme, SignalWord.NOTICE, "", self._page)
        panel.stand_on("panel")
        panel.hide()
        self._cautions.append(panel)

    def _show_cautions(self, cautions: Sequence[Caution]) -> None:
        while len(self._cautions) < len(cautions):
            self._add_caution()
        for panel, caution in zip(self._cautions, cautions, strict=False):
            panel.set_caution(caution.word, caution.text)
        for i, panel in enumerate(self._cautions):
            panel.setVisible(i < len(cautions))

    @property
    def cautions(self) -> tuple[CautionPanel, ...]:
        """The caution panels in view, in their order."""
        return tuple(panel for panel in self._cautions if not panel.isHidden())


def words_of(step: Step, device: DeviceMap, moved: str = "", laid: str = "") -> StepWords:
    """What the page says of a step; `moved` and `laid` as in `InstructionPanel.show_step`."""
    return StepWords(
        step.text,
        "" if moved else "\n".join(_part_lines(step, device)),
        moved,
        laid,
        f"Tool:  {device.tool_names.get(step.tool, step.tool)}" if step.tool else "",
        step.key_point or "",
        step.reason or "",
    )


def _fill(widget: QLabel, text: str) -> None:
    widget.setText(text)
    widget.setVisible(bool(text))


def _part_lines(step: Step, device: DeviceMap) -> list[str]:
    lines = []
    for mark in marks_of(device, step):
        cell = f", mat cell {mark.part.cell}" if mark.part.cell else ""
        lines.append(f"{mark.sign}   {described(mark.part)}{cell}")
    return lines
