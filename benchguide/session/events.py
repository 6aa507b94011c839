"""The facts of a session, in the past tense. Nothing here decides or computes anything.

Every event class carries `v`, the version of its fields. Fields are plain JSON values.
"""

from dataclasses import dataclass
from typing import ClassVar

from benchguide.session.moment import Moment


@dataclass(frozen=True, slots=True)
class Event:
    """Base of all facts."""

    v: ClassVar[int] = 1


@dataclass(frozen=True, slots=True)
class SessionStarted(Event):
    """A person began a job. The two documents are the part map and procedure exactly as used (SHA-256)."""

    job: str
    person: str
    device: str
    procedure: str
    device_doc: str
    procedure_doc: str


@dataclass(frozen=True, slots=True)
class SessionLeft(Event):
    """The program was closed in good order while the job was open."""


@dataclass(frozen=True, slots=True)
class SessionResumed(Event):
    """The program came back. `last_alive` is the last moment it was known to run."""

    last_alive: dict[str, object]
    cause: str


@dataclass(frozen=True, slots=True)
class SessionFinished(Event):
    """The record was closed."""


@dataclass(frozen=True, slots=True)
class SessionAbandoned(Event):
    """The job was given up as it stands."""

    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class StepEntered(Event):
    """The step came up on the bench. `why` is next, back, again, chosen, or laid (the way back began anew)."""

    step: str
    why: str


@dataclass(frozen=True, slots=True)
class StepDone(Event):
    """The person declared the step done."""

    step: str


@dataclass(frozen=True, slots=True)
class StepSkipped(Event):
    """The step was passed over on purpose."""

    step: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class StepTakenBack(Event):
    """A step was wrongly declared done; what it moved is as before."""

    step: str


@dataclass(frozen=True, slots=True)
class PartCameOff(Event):
    """Pieces of a part left the device and lie in a cell of the parts mat (empty: on the bench)."""

    part: str
    pieces: int
    cell: str
    step: str


@dataclass(frozen=True, slots=True)
class PartWentBack(Event):
    """Pieces of a part are in the device again."""

    part: str
    pieces: int
    step: str


@dataclass(frozen=True, slots=True)
class PartTakenOff(Event):
    """Pieces of a part came off that no step asked for; `step` is where the job stood."""

    part: str
    pieces: int
    cell: str
    step: str
    reason: str


@dataclass(frozen=True, slots=True)
class PartPutBack(Event):
    """Pieces of a part went back without the step that was meant for them."""

    part: str
    pieces: int
    step: str
    reason: str


@dataclass(frozen=True, slots=True)
class WayBackLaid(Event):
    """The way back was computed from what is out: after the first `kept` steps of the route come `steps`.

    A step is whole, or `{"step": name}` when it stands in the procedure or on the route before.
    """

    kept: int
    steps: list[dict[str, object]]
    why: str


@dataclass(frozen=True, slots=True)
class ExtraFound(Event):
    """An item was found that belongs to no part so far."""

    extra: str
    what: str
    cell: str
    step: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class ExtraSettled(Event):
    """What became of such an item. `how` is assigned (to `part`), kept or thrown-away.

    `was_gone` is true when it is one of the pieces of the part that counted as gone.
    """

    extra: str
    how: str
    part: str
    was_gone: bool
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class CountReconciled(Event):
    """Why a count differs. `what` is lost, replaced, left-out, not-fitted, found or supplied."""

    part: str
    pieces: int
    what: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class PhotoTaken(Event):
    """A photo is on the disk and verified. `purpose` is as-found, as-left, mat or free.

    `faults` says in plain words what was found wrong with it (photo_faults.py), the one to mend first in front.
    """

    v: ClassVar[int] = 2

    sha256: str
    purpose: str
    step: str
    part: str
    width: int
    height: int
    exposed: str
    source: str
    faults: list[str]


@dataclass(frozen=True, slots=True)
class PoorPhotoKept(Event):
    """A photo with faults was kept as it is, on purpose."""

    sha256: str
    step: str


@dataclass(frozen=True, slots=True)
class PlaceMarked(Event):
    """A person marked a screw, a connector or another thing on a photo: middle and size in its pixels.

    `number` counts the places of this photo from 1.
    """

    photo: str
    number: int
    kind: str
    x: float
    y: float
    size: float


@dataclass(frozen=True, slots=True)
class PlaceCleared(Event):
    """A place was marked by mistake."""

    photo: str
    number: int


@dataclass(frozen=True, slots=True)
class PhotosCompared(Event):
    """As-left was compared with as-found. Where `aligned` is false nothing can be told, and `why` says so.

    Each of `candidates` is a place that differs, most likely first: `x`, `y`, `w`, `h` in pixels of as-left,
    `found` the same box in pixels of as-found, `score` 0 to 1, `hint` what it might be in words.
    """

    step: str
    as_found: str
    as_left: str
    aligned: bool
    why: str
    candidates: list[dict[str, object]]


@dataclass(frozen=True, slots=True)
class DifferenceAnswered(Event):
    """What a person says of one candidate, counted from 1. `answer` is intended, mended or not a difference."""

    step: str
    number: int
    answer: str


@dataclass(frozen=True, slots=True)
class MatRead(Event):
    """The parts mat was read from a photo. Each of `cells` has `cell`, `count` (or null), `at_least`, `items`
    (`kind`, `length_mm`, `sigma_mm`), `reason`, and beside that what the ledger says: `expected`, `verdict`, `told`.
    """

    photo: str
    step: str
    paper: str
    cells: list[dict[str, object]]
    warnings: list[str]


@dataclass(frozen=True, slots=True)
class ScrewMeasured(Event):
    """A single screw was measured before it goes into the place of `part`. Overall length and standard uncertainty.

    `verdict` is matches, does not match, longer: stop or cannot tell; `told` is its sentence.
    """

    part: str
    step: str
    length_mm: float
    sigma_mm: float
    verdict: str
    told: str


@dataclass(frozen=True, slots=True)
class NoteAdded(Event):
    """Free words of the person."""

    step: str
    text: str


@dataclass(frozen=True, slots=True)
class HoldBegan(Event):
    """Work stopped for a reason."""

    reason: str


@dataclass(frozen=True, slots=True)
class HoldEnded(Event):
    """Work went on."""


@dataclass(frozen=True, slots=True)
class CountdownStarted(Event):
    """A heat, cure or soak time began."""

    countdown: str
    step: str
    kind: str
    seconds: int


@dataclass(frozen=True, slots=True)
class CountdownRang(Event):
    """The time was up and it was sounded."""

    countdown: str


@dataclass(frozen=True, slots=True)
class CountdownStopped(Event):
    """The time was cut short on purpose."""

    countdown: str
    reason: str


@dataclass(frozen=True, slots=True)
class LineAnswered(Event):
    """One line of a check or test list was answered."""

    step: str
    line: str
    answer: str


@dataclass(frozen=True, slots=True)
class ReadingTaken(Event):
    """A measured value was entered."""

    step: str
    quantity: str
    unit: str
    value: float


@dataclass(frozen=True, slots=True)
class WaiverGiven(Event):
    """A hold point was passed without being met."""

    gate: str
    step: str
    reason: str
    name: str


@dataclass(frozen=True, slots=True)
class LastConfirmed(Event):
    """After an interruption the person looked at the last action and confirmed it."""


@dataclass(frozen=True, slots=True)
class PersonChanged(Event):
    """Another person took over, with a count at handover."""

    was: str
    now: str
    pieces_out: int


#: reasons of a `CountReconciled` that bring a piece that was gone back onto the mat
RETURNED = ("found", "supplied")

KINDS: dict[str, type[Event]] = {
    cls.__name__: cls
    for cls in (
        SessionStarted,
        SessionLeft,
        SessionResumed,
        SessionFinished,
        SessionAbandoned,
        StepEntered,
        StepDone,
        StepSkipped,
        StepTakenBack,
        PartCameOff,
        PartWentBack,
        PartTakenOff,
        PartPutBack,
        WayBackLaid,
        ExtraFound,
        ExtraSettled,
        CountReconciled,
        PhotoTaken,
        PoorPhotoKept,
        PlaceMarked,
        PlaceCleared,
        PhotosCompared,
        DifferenceAnswered,
        MatRead,
        ScrewMeasured,
        NoteAdded,
        HoldBegan,
        HoldEnded,
        CountdownStarted,
        CountdownRang,
        CountdownStopped,
        LineAnswered,
        ReadingTaken,
        WaiverGiven,
        LastConfirmed,
        PersonChanged,
    )
}


@dataclass(frozen=True, slots=True)
class Fact:
    """An event with the moment it happened and the person at the bench."""

    at: Moment
    by: str
    what: Event
