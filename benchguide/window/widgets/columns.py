"""The two columns of the bench, each placed by itself in one go: places follow from the size, not from the contents.

Qt's layouts ask every widget on the way up for its wishes whenever one text changes, and arrange and paint more than
once; here a step that comes only shows and hides, and what a person looks for stays where it was.
"""

from PySide6.QtCore import QEvent, QRect, QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QWidget

from benchguide.window.theme import Theme
from benchguide.window.widgets.camera_view import CameraView
from benchguide.window.widgets.gatebar import GateBar
from benchguide.window.widgets.instruction import InstructionPanel

#: heights of camera and of what stands below it: the drawing or the differences, or a list to answer
ABOVE_DRAWING, ABOVE_LIST = 3 / 5, 1 / 2
#: smallest sizes in body-type ems: width of a column, heights of a text that scrolls and of camera and drawing
NARROWEST, LOWEST_TEXT, LOWEST_PICTURE = 14, 6, 5


class _Column(QWidget):
    """Holds widgets and places them itself."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._em, self._gap = theme.sizes.body_px, theme.sizes.gap

    def arrange(self) -> None:
        """Give every widget its place for the size there is."""
        raise NotImplementedError

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Everything moves with the size."""
        super().resizeEvent(event)
        self.arrange()

    def event(self, event: QEvent) -> bool:
        """A widget that wishes other room is given what follows from the size, now and not a round later."""
        if event.type() is QEvent.Type.LayoutRequest:
            self.arrange()
            return True
        return super().event(event)

    def minimumSizeHint(self) -> QSize:
        """Always the same, so that nothing around has to move."""
        return QSize(round(NARROWEST * self._em), round(2 * LOWEST_TEXT * self._em))

    def sizeHint(self) -> QSize:
        """Any size will do."""
        return self.minimumSizeHint() * 2


class TextColumn(_Column):
    """The instruction, and under it the hold points as high as their words need."""

    def __init__(self, theme: Theme, instruction: InstructionPanel, gates: GateBar) -> None:
        super().__init__(theme)
        self._instruction, self._gates = instruction, gates
        for each in (instruction, gates):
            each.setParent(self)

    def arrange(self) -> None:
        """Hold points at the foot; the instruction scrolls in what is left."""
        whole, least = self.rect(), round(LOWEST_TEXT * self._em)
        high = self._gates.heightForWidth(whole.width()) if not self._gates.isHidden() else 0
        high = min(high, max(0, whole.height() - least - self._gap))
        if high:
            self._gates.setGeometry(0, whole.height() - high, whole.width(), high)
        self._instruction.setGeometry(0, 0, whole.width(), whole.height() - (high + self._gap if high else 0))


class PictureColumn(_Column):
    """The camera, and below it the drawing, the differences, or a list to answer."""

    def __init__(
        self, theme: Theme, camera: CameraView, device: QWidget, differences: QWidget, answers: QWidget
    ) -> None:
        super().__init__(theme)
        self._camera, self._device, self._differences, self._answers = camera, device, differences, answers
        self._lines = False
        for each in (camera, device, differences, answers):
            each.setParent(self)

    def show_below(self, lines: bool, differences: bool, camera: bool) -> None:
        """A list to answer, the differences or the drawing; `camera` says whether there is room for it too."""
        self._lines = lines
        self._camera.setVisible(camera)
        self.arrange()
        self._answers.setVisible(lines)
        self._differences.setVisible(differences and not lines)
        self._device.setVisible(not lines and not differences)

    def arrange(self) -> None:
        """Hidden ones are placed too: what is drawn ahead for them must fit."""
        whole, least = self.rect(), round(LOWEST_PICTURE * self._em)
        above, below = self._split(ABOVE_DRAWING, least)
        for each in (self._device, self._differences):
            each.setGeometry(below)
        if self._lines:
            above, below = self._split(ABOVE_LIST, least)
            self._answers.setGeometry(whole if self._camera.isHidden() else below)
        self._camera.setGeometry(above)

    def _split(self, share: float, least: int) -> tuple[QRect, QRect]:
        wide, high = self.width(), self.height() - self._gap
        upper = max(least, min(round(share * high), high - least))
        return QRect(0, 0, wide, upper), QRect(0, upper + self._gap, wide, max(0, high - upper))
