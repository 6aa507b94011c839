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
class Reconcile(Command):
    """Say why pieces will not go back as they came. `what` is lost, replaced or left-out."""

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
