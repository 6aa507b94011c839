"""Pages of plain text inside the window: what the program cannot know about safety, and the keys."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from benchguide.window.actions import BENCH, WINDOW
from benchguide.window.theme import Theme, set_role

SAFETY = (
    "Benchguide keeps notes and pictures. It is not a safety device.",
    (
        "It cannot know whether something is switched off, discharged, cool, charged or undamaged. It will never tell "
        "you that something is safe."
    ),
    "Follow the instructions of the equipment's maker, the rules of your workplace and the law where you are.",
    (
        "Work on mains-powered equipment and on hazardous voltages only if you are competent and permitted to do so "
        "there. After repair, mains equipment goes back into use only after the electrical safety tests required "
        "where you are, done by a skilled person."
    ),
    (
        "Lithium-ion cells: do not pierce, bend, crush or overheat them. If a cell hisses, smells, swells or warms by "
        "itself, get away, warn others and follow your fire plan."
    ),
    (
        "Heat, solvents, glass, springs and bright light: read the cautions before the step, wear what the data sheets "
        "ask for, and stop when you are tired."
    ),
    "If you are not sure, stop and ask someone who is qualified.",
)


class InfoPage(QWidget):
    """A scrolling page with a heading and a key that leads back."""

    left = Signal()

    def __init__(self, theme: Theme, title: str) -> None:
        super().__init__()
        self._body = QWidget()
        heading = QLabel(title)
        set_role(heading, "heading")
        back = QPushButton("Back")
        back.clicked.connect(self.left)
        area = QScrollArea(widgetResizable=True)
        area.setWidget(self._body)
        area.setAccessibleName(title)
        column = QVBoxLayout(self)
        column.setSpacing(theme.sizes.gap)
        column.addWidget(heading)
        column.addWidget(area, 1)
        column.addWidget(back, 0, Qt.AlignmentFlag.AlignLeft)
        self.setFocusProxy(back)

    @property
    def body(self) -> QWidget:
        """Where the page's text goes."""
        return self._body


def safety_page(theme: Theme) -> InfoPage:
    """What this program cannot know."""
    page = InfoPage(theme, "What this program cannot know")
    column = QVBoxLayout(page.body)
    column.setSpacing(theme.sizes.gap * 2)
    for number, sentence in enumerate(SAFETY):
        label = QLabel(sentence, wordWrap=True)
        set_role(label, "strong" if number == 0 else "body")
        column.addWidget(label)
    column.addStretch()
    return page


def keys_page(theme: Theme) -> InfoPage:
    """All commands with their keys, in two columns."""
    page = InfoPage(theme, "Commands and keys")
    grid = QGridLayout(page.body)
    grid.setHorizontalSpacing(theme.sizes.gap * 3)
    for row, spec in enumerate((*BENCH, *WINDOW)):
        keys = QLabel("  or  ".join(_shown(key) for key in spec.keys) or "under More")
        set_role(keys, "mono")
        name = QLabel(spec.words)
        set_role(name, "strong")
        for column, label in enumerate((keys, name, QLabel(spec.tip))):
            grid.addWidget(label, row, column)
    grid.setColumnStretch(2, 1)
    grid.setRowStretch(len(BENCH) + len(WINDOW), 1)
    return page


def _shown(key: str) -> str:
    return {"PgDown": "Page Down", "PgUp": "Page Up", "Return": "Enter"}.get(key, key)
