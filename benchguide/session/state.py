"""The state of a session: what the facts so far add up to. Values only.

`apply` makes them, `decide` reads them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Procedure, Step
from benchguide.procedure.words import REFITS, PartKind, Stage
from benchguide.session.clock import Mode, Visit
from benchguide.session.events import (
    RETURNED,
    CountReconciled,
    Event,
    ExtraSettled,
    Fact,
    MatRead,
    PhotosCompared,
    PhotoTaken,
    PlaceMarked,
    ReadingTaken,
    ScrewMeasured,
    SessionStarted,
    WaiverGiven,
)
from benchguide.session.ledger import Ledger
from benchguide.session.moment import Moment
from benchguide.session.route import Route
from benchguide.session.value import Value


class Status(StrEnum):
    """Where the session stands as a whole."""

    NEW = "new"
    WORKING = "working"
    HELD = "held"
    FINISHED = "finished"
    ABANDONED = "abandoned"


class Mark(StrEnum):
    """Where one step stands."""

    OPEN = "open"
    DONE = "done"
    SKIPPED = "skipped"


class Purpose(StrEnum):
    """What a photo is for."""

    AS_FOUND = "as-found"
    AS_LEFT = "as-left"
    FREE = "free"
    MAT = "mat"


@dataclass(frozen=True)
class Job:
    """What a session follows: one device, one procedure. Fixed from start to finish."""

    device: DeviceMap
    procedure: Procedure

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps as planned; what a session follows is the route of its state."""
        return self.procedure.steps

    @cached_property
    def route(self) -> Route:
        """The route as planned."""
        return Route(self.procedure.steps)

    @cached_property
    def energy_parts(self) -> frozenset[str]:
        """Energy sources and what isolates them; a source without a part of its own has only its isolator."""
        cells = {part.id for part in self.device.parts if part.kind is PartKind.CELL}
        isolators = self.device.isolators
        return frozenset(cells.union((p.id for p in isolators), *(p.isolates for p in isolators)))

    @cached_property
    def way_back_at(self) -> int:
        """Where the way back begins: the first planned step that refits something or comes after the swap."""
        after = (Stage.WAY_BACK, Stage.TEST, Stage.SEAL, Stage.CLOSE_OUT)
        for i, step in enumerate(self.procedure.steps):
            if step.action in REFITS or step.stage in after:
                return i
        return len(self.procedure.steps)


@dataclass(frozen=True, slots=True)
class Movement:
    """What one step moved: `pieces` is positive when they came off, negative when they went back.

    `cell`, `off_at` and `turn` say where the pieces lay and which step had taken them off when.
    """

    part: str
    pieces: int
    cell: str
    off_at: str
    turn: int = 0


@dataclass(frozen=True, slots=True)
class StepMark:
    """What is known of one step."""

    mark: Mark = Mark.OPEN
    entered: int = 0
    moved: tuple[Movement, ...] = ()
    """What it moved when it was last carried out: what taking it back would undo."""
    settled: bool = False
    """True once it was declared done or skipped after these movements."""
    turn: int = 0
    """Number of the fact that declared it done; 0 while it is not."""

    @property
    def told(self) -> tuple[Movement, ...]:
        """Movements entered piece by piece that wait for the step to be declared done."""
        return () if self.settled else self.moved


@dataclass(frozen=True, slots=True)
class Countdown:
    """One running or ended countdown."""

    id: str
    step: str
    kind: str
    seconds: int
    started: Moment
    state: str = "running"

    @property
    def running(self) -> bool:
        """True until it rang or was stopped."""
        return self.state == "running"


def part_subject(part: str) -> str:
    """What a hold point of one part is named after, where no step stands for it."""
    return f"part/{part}"


def _gone_by(event: Event) -> tuple[str, int]:
    """Part, and how many of its pieces are gone (or, when negative, there again) by this fact."""
    if isinstance(event, CountReconciled) and event.what != "replaced":
        return event.part, -event.pieces if event.what in RETURNED else event.pieces
    if isinstance(event, ExtraSettled) and event.was_gone:
        return event.part, -1
    return "", 0


@dataclass(frozen=True)
class State(Value):
    """Everything that follows from the facts of one session."""

    job: Job
    started: SessionStarted | None = None
    began: Moment | None = None
    ended: Moment | None = None
    person: str = ""
    status: Status = Status.NEW
    laid: Route | None = None
    """The route with the way back as it was laid last; None while the procedure is followed as planned."""
    here: int = 0
    marks: Mapping[str, StepMark] = field(default_factory=dict)
    last_done: str = ""
    ledger: Ledger = field(default_factory=Ledger)
    came_off: frozenset[str] = frozenset()
    """Parts of which at least one piece came off at some time."""
    extras: int = 0
    """How many items were found that belonged to no part."""
    photos: tuple[PhotoTaken, ...] = ()
    kept_poor: frozenset[str] = frozenset()
    """Photos with faults that are kept as they are."""
    places: Mapping[str, tuple[PlaceMarked | None, ...]] = field(default_factory=dict)
    """Places marked on a photo, by its hash; None for one that was taken away again."""
    compared: Mapping[str, PhotosCompared] = field(default_factory=dict)
    """The newest comparison of each step."""
    differences: Mapping[tuple[str, int], str] = field(default_factory=dict)
    """What a person said of the candidates of that comparison, by step and number."""
    mat: MatRead | None = None
    """The newest reading of the parts mat."""
    measured: Mapping[str, ScrewMeasured] = field(default_factory=dict)
    """The newest measured screw for each part."""
    notes: tuple[Fact, ...] = ()
    holds: tuple[Fact, ...] = ()
    waivers: tuple[WaiverGiven, ...] = ()
    """All waivers ever given, for the record."""
    waived: frozenset[str] = frozenset()
    """The hold points that are passed by a waiver now."""
    reconciled: tuple[Fact, ...] = ()
    answers: Mapping[tuple[str, str], str] = field(default_factory=dict)
    readings: Mapping[str, ReadingTaken] = field(default_factory=dict)
    countdowns: Mapping[str, Countdown] = field(default_factory=dict)
    visit: Visit | None = None
    visits: tuple[Visit, ...] = ()
    booked: Moment | None = None
    away: bool = False
    to_confirm: bool = False
    recent: tuple[Fact, ...] = ()
    facts: int = 0

    @property
    def step(self) -> Step:
        """The step on the bench now. Raises IndexError for a procedure without steps."""
        return self.steps[self.here]

    @property
    def route(self) -> Route:
        """What the session follows now: the way in as planned, the way back as laid."""
        return self.laid or self.job.route

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the route, in order."""
        return self.route.steps

    @property
    def index(self) -> dict[str, int]:
        """Place of each step on the route."""
        return self.route.index

    def step_of(self, name: str) -> Step | None:
        """The step with this name: on the route, or planned and no longer needed. None when there is none."""
        return self.route.by_id.get(name) or self.job.procedure.by_id.get(name)

    @property
    def open(self) -> bool:
        """True while the job can go on."""
        return self.status in (Status.WORKING, Status.HELD)

    def mark_of(self, step: str) -> StepMark:
        """The mark of a step; an untouched one is open."""
        return self.marks.get(step, StepMark())

    @property
    def gone(self) -> dict[str, int]:
        """Pieces that are neither in the device nor in the ledger, by part: lost, left out, never fitted."""
        found: dict[str, int] = {}
        for fact in self.reconciled:
            part, pieces = _gone_by(fact.what)
            found[part] = found.get(part, 0) + pieces
        return {part: pieces for part, pieces in found.items() if pieces}

    def in_device(self, part: str) -> int:
        """Pieces of a part that are in the device now. Raises KeyError for an unknown part."""
        return self.job.device.by_id[part].pieces - self.ledger.pieces_of(part) - self.gone.get(part, 0)

    @property
    def running(self) -> tuple[Countdown, ...]:
        """Countdowns that go on now."""
        return tuple(c for c in self.countdowns.values() if c.running)

    @property
    def mode(self) -> Mode:
        """What the clock counts now."""
        if self.away:
            return Mode.AWAY
        if self.status is Status.HELD:
            return Mode.HOLD
        if self.visit is None:
            return Mode.TOUCH
        step = self.visit.step
        for countdown in self.countdowns.values():
            if countdown.step == step and countdown.running:
                return Mode.WAITING
        return Mode.TOUCH

    @property
    def all_visits(self) -> tuple[Visit, ...]:
        """Closed visits and the open one, in order."""
        return (*self.visits, self.visit) if self.visit else self.visits

    def photos_of(self, step: str, purpose: Purpose) -> tuple[PhotoTaken, ...]:
        """Photos of one step for one purpose, oldest first."""
        return tuple(p for p in self.photos if p.step == step and p.purpose == purpose)
