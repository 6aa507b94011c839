"""The need list of one procedure: what to know and lay ready before the job. Shows; decides nothing."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QPushButton, QScrollArea, QVBoxLayout, QWidget

from benchguide.store.tables import SessionRow
from benchguide.window.procedures_words import Needs
from benchguide.window.theme import Theme, set_role
from benchguide.window.widgets.caution import CautionPanel
from benchguide.window.widgets.themed import Panel, label

#: more findings than this are counted, not listed
MOST_FINDINGS = 30


class NeedsView(QScrollArea):
    """A scrolled page, filled anew for each procedure; the keyboard scrolls it."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("What this procedure needs")
        self.begin()

    def begin(self) -> QVBoxLayout:
        """Start an empty page."""
        page = QWidget()
        set_role(page, "page")
        self.column = QVBoxLayout(page)
        gap = self.theme.sizes.gap
        self.column.setContentsMargins(0, 0, gap, 0)
        self.column.setSpacing(gap)
        self.setWidget(page)
        return self.column

    def show_title(self, title: str, about: str, check: str) -> None:
        """Title, what it is for, result of the check."""
        self.column.addWidget(label(title, "heading", wrap=True))
        if about:
            self.column.addWidget(label(about, "", wrap=True))
        self.column.addWidget(label(check, "strong", wrap=True))

    def show_origin(self, words: str) -> None:
        """Whether the steps are written out or made from the part map."""
        self.column.addWidget(label(words, "soft", wrap=True))

    def show_open(self, rows: Sequence[SessionRow], may_continue: bool) -> list[tuple[QPushButton, str]]:
        """One row for each open job of this procedure; gives the buttons with their session ids."""
        made = []
        for row in rows:
            panel = Panel(self.theme, f"Open job {row.job}", role="present")
            line = QHBoxLayout(panel)
            line.addWidget(
                label(
                    f"Open: job {row.job}, {row.person}, begun {row.started[:16].replace('T', ' ')}", "", True
                ),
                1,
            )
            button = QPushButton("Continue")
            button.setAccessibleName(f"Continue job {row.job}")
            button.setEnabled(may_continue)
            set_role(button, "primary")
            line.addWidget(button)
            self.column.addWidget(panel)
            made.append((button, row.session_id))
        return made

    def show_needs(self, needs: Needs) -> None:
        """Figures, cautions, lists."""
        self._figures(needs)
        if needs.cautions:
            self.column.addWidget(label("Cautions for the whole job", "strong"))
        for caution in needs.cautions:
            self.column.addWidget(CautionPanel(self.theme, caution.word, caution.text))
        self.column.addWidget(
            label(
                "These cautions cannot name every danger. "
                "Local codes and rules for licensed practice come first.",
                "soft",
                wrap=True,
            )
        )
        self._list("Tools", needs.tools)
        self._list("Parts", needs.supplies)
        self._list("Consumables", needs.consumables)

    def _figures(self, needs: Needs) -> None:
        grid = QGridLayout()
        grid.setHorizontalSpacing(self.theme.sizes.gap * 3)
        figures = (
            ("Touch time", needs.time),
            ("Waits", needs.waits),
            ("Steps", str(needs.steps)),
            ("Photos required", str(needs.photos)),
            ("Pieces that come out", str(needs.pieces)),
        )
        for number, (name, value) in enumerate(figures):
            grid.addWidget(label(name, "soft"), number, 0, Qt.AlignmentFlag.AlignTop)
            grid.addWidget(label(value, "strong", wrap=True), number, 1)
        grid.setColumnStretch(1, 1)
        self.column.addLayout(grid)

    def _list(self, title: str, items: Sequence[str]) -> None:
        self.column.addWidget(label(title, "strong"))
        text = "\n".join(f"•  {item}" for item in items) if items else "none"
        listed = label(text, "", wrap=True)
        listed.setAccessibleName(f"{title}: {', '.join(items) or 'none'}")
        self.column.addWidget(listed)

    def show_findings(self, lines: Sequence[str]) -> None:
        """What the checker found, as far as a person can read."""
        if not lines:
            return
        self.column.addWidget(label("Findings of the check", "strong"))
        for line in lines[:MOST_FINDINGS]:
            self.column.addWidget(label(line, "", wrap=True))
        if len(lines) > MOST_FINDINGS:
            rest = len(lines) - MOST_FINDINGS
            self.column.addWidget(
                label(f"and {rest} more; `benchguide check` lists them all", "soft", wrap=True)
            )

    def end(self) -> None:
        """The page is complete."""
        self.column.addStretch(1)
        self.verticalScrollBar().setValue(0)
