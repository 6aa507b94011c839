"""What a person can ask for, in the imperative.

Every input (key, pedal, voice, button, script) raises these.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Command:
    """Base of all intentions."""


@dataclass(frozen=True, slots=True)
class StartSession(Command):
    """Begin the job. The documents are the SHA-256 of the stored part map and procedure."""

    job: str
    person: str
    device_doc: str
    procedure_doc: str


@dataclass(frozen=True, slots=True)
class FinishStep(Command):
    """This step is done; show the next one."""


@dataclass(frozen=True, slots=True)
class GoBack(Command):
    """Show the step before."""


@dataclass(frozen=True, slots=True)
class GoTo(Command):
    """Show the step with this name, without declaring anything done."""

    step: str


@dataclass(frozen=True, slots=True)
class RepeatStep(Command):
    """Do the present step once more; the time counts as a further visit."""


@dataclass(frozen=True, slots=True)
class SkipStep(Command):
    """Pass over the present step."""

    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class TakeBack(Command):
    """The last step was wrongly declared done: put the ledger as before and show it again."""


@dataclass(frozen=True, slots=True)
class KeepPhoto(Command):
    """Enter a verified photo. An empty purpose lets the step decide what the photo is for; an empty step
    is the present one (the bench may have moved on while the photo was written)."""

    sha256: str
    width: int
    height: int
    exposed: str
    source: str
    purpose: str = ""
    step: str = ""
    part: str = ""
    """The part it shows, where the step is not about it; else the first part of the step."""
    faults: tuple[str, ...] = ()
    """What was found wrong with it, in plain words."""


@dataclass(frozen=True, slots=True)
class KeepPoorPhoto(Command):
    """Keep a photo with faults as it is. An empty hash is the one that holds the present step."""

    sha256: str = ""


@dataclass(frozen=True, slots=True)
class MarkPlace(Command):
    """Mark a screw, a connector or another thing on a photo: middle and size in its pixels."""

    photo: str
    kind: str
    x: float
    y: float
    size: float


@dataclass(frozen=True, slots=True)
class ClearPlace(Command):
    """Take a mark away that was set by mistake."""

    photo: str
    number: int


@dataclass(frozen=True, slots=True)
class Difference:
    """One candidate of a comparison: `box` and `found` are (x, y, w, h) in pixels of as-left and of as-found."""

    box: tuple[int, int, int, int]
    found: tuple[int, int, int, int]
    score: float
    hint: str


@dataclass(frozen=True, slots=True)
class KeepComparison(Command):
    """Enter a comparison of an as-left photo of this session with an as-found one."""

    as_found: str
    as_left: str
    aligned: bool
    why: str
    candidates: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class AnswerDifference(Command):
    """Answer one candidate of a step's newest comparison: intended, mended or not a difference.

    An empty step is the present one.
    """

    step: str
    number: int
    answer: str


@dataclass(frozen=True, slots=True)
class CellSeen:
    """What lies in one cell of the mat. `count` is None where it cannot be told, and `reason` says why.

    items: kind, overall length and standard uncertainty in mm (None where there is none). odd: a sentence about
    a length that does not belong there, else empty.
    """

    cell: str
    count: int | None
    at_least: int
    items: tuple[tuple[str, float | None, float | None], ...] = ()
    reason: str = ""
    odd: str = ""


@dataclass(frozen=True, slots=True)
class KeepMatReading(Command):
    """Enter what a photo of the parts mat shows."""

    photo: str
    paper: str
    cells: tuple[CellSeen, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KeepMeasurement(Command):
    """Enter the measured overall length of a single screw that is meant for a part's place, and its verdict."""

    part: str
    length_mm: float
    sigma_mm: float
    verdict: str
    told: str


@dataclass(frozen=True, slots=True)
class AddNote(Command):
    """Write words beside the present step."""

    text: str


@dataclass(frozen=True, slots=True)
class BeginHold(Command):
    """Stop the work clock for a reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class EndHold(Command):
    """Go on with the work."""


@dataclass(frozen=True, slots=True)
class StartCountdown(Command):
    """Start the countdown of the present step."""


@dataclass(frozen=True, slots=True)
class RingCountdown(Command):
    """The countdown's time is up (raised by the program's clock)."""

    countdown: str


@dataclass(frozen=True, slots=True)
class StopCountdown(Command):
    """Cut a countdown short."""

    countdown: str
    reason: str


@dataclass(frozen=True, slots=True)
class AnswerLine(Command):
    """Answer one line of the present step's list."""

    line: str
    answer: str


@dataclass(frozen=True, slots=True)
class EnterReading(Command):
    """Enter the measured value of the present step."""

    value: float


@dataclass(frozen=True, slots=True)
class Waive(Command):
    """Pass a hold point with a reason and a name."""

    gate: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class ConfirmLast(Command):
    """After an interruption: the last action is as it should be."""


@dataclass(frozen=True, slots=True)
class PiecesOut(Command):
    """So many pieces of a part are out now, in the course of the present step, and lie in a cell of the mat.

    An empty cell is the part's own. Declaring the step done then settles nothing more for this part.
    """

    part: str
    pieces: int
    cell: str = ""


@dataclass(frozen=True, slots=True)
class PiecesBack(Command):
    """So many pieces of a part are in again, in the course of the present step."""

    part: str
    pieces: int


@dataclass(frozen=True, slots=True)
class TakeOffPart(Command):
    """A part comes off that no step asks for. No pieces means all that are in the device."""

    part: str
    pieces: int = 0
    cell: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PutBackPart(Command):
    """A part went back without its step. No pieces means all that are out."""

    part: str
    pieces: int = 0
    reason: str = ""


@dataclass(frozen=True, slots=True)
class EnterExtra(Command):
    """An item was found that belongs to no part so far."""

    what: str
    reason: str
    name: str
    cell: str = ""


@dataclass(frozen=True, slots=True)
class SettleExtra(Command):
    """Say what becomes of such an item. `how` is assigned (to `part`), kept or thrown-away."""

    extra: str
    how: str
    reason: str
    name: str
    part: str = ""


@dataclass(frozen=True, slots=True)
class Reconcile(Command):
    """Say why a count differs. `what`, of pieces that are out: lost, replaced (a new one is in) or left-out;
    of pieces in the device: not-fitted (they never were); of pieces that are gone: found, or supplied (a new one
    lies on the mat in their place)."""

    part: str
    pieces: int
    what: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class ChangePerson(Command):
    """Hand the job over; the count of pieces out is given by the person who takes over."""

    to: str
    pieces_out: int


@dataclass(frozen=True, slots=True)
class LeaveBench(Command):
    """The program is being closed with the job open."""


@dataclass(frozen=True, slots=True)
class ResumeSession(Command):
    """The program is back; `last_alive` as logged by the heartbeat."""

    last_alive: dict[str, object]


@dataclass(frozen=True, slots=True)
class FinishSession(Command):
    """Close the record."""


@dataclass(frozen=True, slots=True)
class AbandonSession(Command):
    """Give the job up as it stands."""

    reason: str
    name: str
