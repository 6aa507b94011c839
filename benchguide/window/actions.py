"""All commands of the window as named QActions with their keys. What they do is connected elsewhere.

One table, so that key, button, menu and script show the same words. Letters are ordinary shortcuts: a text field
that has the focus keeps them for itself.
"""

from dataclasses import dataclass

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget


@dataclass(frozen=True, slots=True)
class Spec:
    """One command of the window: name in code and scripts, words on screen, keys, what it does in a sentence."""

    name: str
    words: str
    keys: tuple[str, ...]
    tip: str


BENCH = (
    Spec("step-done", "Done, next", ("PgDown", "Return"), "This step is done; show the next one"),
    Spec("previous-step", "Previous", ("PgUp",), "Show the step before"),
    Spec("take-photo", "Photo", ("F", "Space"), "Take a photo of what the camera sees"),
    Spec("hold", "Hold", ("H",), "Stop the work clock for a reason, or continue"),
    Spec("countdown", "Countdown", ("C",), "Start this step's countdown, or stop it with a reason"),
    Spec("reading", "Enter value", ("V",), "Enter the measured value of this step"),
    Spec("note", "Note", ("N",), "Write a note beside this step"),
    Spec("skip", "Skip", ("S",), "Pass over this step with a reason"),
    Spec("repeat", "Repeat", ("R",), "Do this step once more"),
    Spec("take-back", "Take back", ("Ctrl+Z",), "The last step was wrongly declared done"),
    Spec("waive", "Waive", ("W",), "Pass the hold point with a reason and a name"),
    Spec("confirm", "Confirm last", ("Y",), "The last action is as it should be"),
    Spec("picture-mode", "Compare", ("O",), "Live picture, as-found beside it, or as-found laid over it"),
    Spec("overlay-more", "More as-found", ("+",), "Make the as-found photo stronger"),
    Spec("overlay-less", "Less as-found", ("-",), "Make the as-found photo weaker"),
    Spec("one-piece", "One piece", ("X",), "One more piece of this step is out, or back"),
    Spec("count-pieces", "Count pieces", ("Shift+X",), "Say how many pieces of this step are out now"),
    Spec("unplanned", "Something else", ("U",), "Something came off, or went back, that no step asked for"),
    Spec("parts", "Parts", ("P",), "Where each part is, and what is in its way"),
    Spec("blocks", "What blocks", ("B",), "What is in the way of this step, and what it would bar"),
    Spec("empty-places", "Empty places", ("L",), "Which places in the device are empty"),
    Spec("extra", "Found item", ("E",), "Something was found that belongs nowhere yet"),
    Spec("settle-extra", "Settle found item", (), "Say what becomes of a found item"),
    Spec("account", "Account for", ("A",), "Say why a count differs: lost, replaced, left out, found"),
    Spec("hand-over", "Hand over", ("Ctrl+H",), "Another person goes on with this job"),
    Spec("close-record", "Close record", ("Ctrl+E",), "Everything is back: close the record"),
    Spec("keep-poor", "Keep anyway", ("K",), "Keep the poor photo as it is; the record says so"),
    Spec(
        "hands-clear", "Photo by itself", ("Shift+F",), "Take due photos when the hands have left, or stop it"
    ),
    Spec("flip-pair", "Flip", ("T",), "As-found and live picture in turn, one over the other"),
    Spec("mark-place", "Mark place", ("J",), "Tap screws and connectors on the as-found photo to watch them"),
    Spec("difference-next", "Next difference", ("D",), "Go to the next place that differs"),
    Spec("difference-intended", "Intended", ("1",), "This difference is as it should be"),
    Spec("difference-mended", "Mended", ("2",), "This difference was put right"),
    Spec("difference-none", "Not a difference", ("3",), "The pictures differ here, the device does not"),
    Spec("more", "More", ("M",), "Note, skip, repeat, take back, waive and the rest"),
    Spec("give-up", "Give up job", (), "End the job as it stands, with a reason"),
)
WINDOW = (
    Spec("room-procedures", "Procedures", ("F2",), "What is on this bench"),
    Spec("room-bench", "Bench", ("F3",), "The job in hand"),
    Spec("room-records", "Records", ("F4",), "Finished and open jobs"),
    Spec("plan", "Way in", ("F9",), "Plan the way in to any part of a device"),
    Spec("mat", "Mat", ("Q",), "Camera over the parts mat: what lies in each cell beside the ledger"),
    Spec("mat-keep", "Keep reading", ("Shift+Q",), "Photograph the mat and keep what is read from it"),
    Spec("measure-screw", "Measure screw", ("Z",), "Compare the screw at the measuring place with its hole"),
    Spec(
        "mat-scale", "Scale of print", ("Shift+Z",), "Enter what a ruler shows on the 100 mm bar of the mat"
    ),
    Spec("theme", "Theme", ("F6",), "Change between the light and the dark theme"),
    Spec("farther", "Larger text", ("Ctrl++",), "I stand farther away"),
    Spec("nearer", "Smaller text", ("Ctrl+-",), "I stand nearer"),
    Spec("camera", "Camera", ("F7",), "Choose the bench camera"),
    Spec("cautions", "Safety", ("F8",), "What this program cannot know"),
    Spec("keys", "Keys", ("F1",), "All commands and their keys"),
    Spec("say-again", "Say again", ("G",), "Read this step aloud, from its cautions on"),
    Spec("read-aloud", "Read aloud", ("F11",), "Read steps aloud on arrival, or stop doing so"),
    Spec("listen", "Listen", ("F12",), "Obey spoken commands, or stop listening"),
    Spec("setup", "Set up", ("F10",), "Camera, microphone, foot switch, distance, theme"),
    Spec("quit", "Quit", ("Ctrl+Q",), "Close the window; nothing is lost"),
)


class Actions(QObject):
    """The QActions of the window, by name. They are added to `owner` so that their keys work there."""

    def __init__(self, owner: QWidget) -> None:
        super().__init__(owner)
        self._by_name: dict[str, QAction] = {}
        for spec in (*BENCH, *WINDOW):
            action = QAction(spec.words, owner)
            action.setObjectName(spec.name)
            action.setShortcuts([QKeySequence(key) for key in spec.keys])
            action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
            action.setToolTip(spec.tip)
            action.setAutoRepeat(False)
            owner.addAction(action)
            self._by_name[spec.name] = action

    def __getitem__(self, name: str) -> QAction:
        return self._by_name[name]

    def names(self) -> tuple[str, ...]:
        """All names, in the order of the table."""
        return tuple(self._by_name)
