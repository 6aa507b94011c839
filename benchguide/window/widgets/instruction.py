"""One instruction at a time: where we are, the cautions before it, the instruction, key point and reason.

It shows a step; it does not decide which, and it never cuts a text: what does not fit is scrolled to,
and a mark says that there is more.
"""

from collections.abc import Iterator, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QLayout,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

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
        self._caution_box = QVBoxLayout()
        self.pages = QScrollArea()
        self.more = QPushButton("↓  More below")
        self._build()
        self.restyle()

    def _build(self) -> None:
        head = QHBoxLayout()
        for part in (self.stage, self.number):
            head.addWidget(part)
        head.addStretch(1)
        head.addWidget(self.holds)
        self._head = head
        page = QVBoxLayout(self._page)
        page.setContentsMargins(0, 0, 0, 0)
        page.addLayout(self._caution_box)
        page.addWidget(self.words)
        page.addStretch(1)
        self._page_layout = page
        self.pages.setWidget(self._page)
        self.pages.setWidgetResizable(True)
        self.pages.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.pages.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.pages.setAccessibleName("Instruction text")
        bar = self.pages.verticalScrollBar()
        bar.rangeChanged.connect(self._look_below)
        bar.valueChanged.connect(self._look_below)
        self.more.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.more.setAccessibleName("Show the text below")
        self.more.clicked.connect(self.show_more)
        set_role(self.more, "more")
        self.more.setVisible(False)
        box = QVBoxLayout(self)
        box.addLayout(head)
        box.addWidget(self.pages, 1)
        box.addWidget(self.more)
        self._box = box
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    @property
    def layouts(self) -> tuple[QLayout, ...]:
        """The layouts inside, for whoever changes much at once."""
        return self._box, self._page_layout

    def restyle(self) -> None:
        """Spacing follows the sizes."""
        gap = self.theme.sizes.gap
        self._box.setContentsMargins(2 * gap, round(1.5 * gap), gap, round(1.5 * gap))
        self._box.setSpacing(gap)
        self._head.setSpacing(2 * gap)
        self._head.setContentsMargins(0, 0, gap, 0)
        self._page_layout.setSpacing(gap)
        self._page_layout.setContentsMargins(0, 0, gap, 0)
        self._caution_box.setSpacing(gap)
        self.pages.verticalScrollBar().setSingleStep(round(self.theme.sizes.body_px * 2))

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
        bar = self.pages.verticalScrollBar()
        # the mark itself takes room: hide it only when the text fits without it, or at the end
        spare = self.more.height() + self._box.spacing() if self.more.isVisible() else 0
        below = bar.value() < bar.maximum() - (0 if bar.value() else spare)
        if below == self.more.isHidden():
            self.more.setVisible(below)
            self.more_below_changed.emit(below)

    def prepare(self, step: Step, device: DeviceMap, moved: str = "", laid: str = "") -> Iterator[None]:
        """Draw words and cautions of a step ahead of time, a little at each turn; the rest as in `show_step`."""
        cautions = cautions_of(step, device)
        width = self._page.contentsRect().width() - self.theme.sizes.gap
        yield from self.words.prepare(words_of(step, device, moved, laid), width)
        for number, caution in enumerate(cautions):
            if number == len(self._cautions):
                self._add_caution()
            self._cautions[number].prepare(caution.word, caution.text, width)
            yield

    def _add_caution(self) -> None:
        panel = CautionPanel(self.theme, SignalWord.NOTICE, "")
        panel.stand_on("panel")
        panel.hide()
        self._cautions.append(panel)
        self._caution_box.addWidget(panel)

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
