"""The closed vocabularies of part maps and procedures. Not the models themselves.

Signal words follow ANSI Z535.6 / ISO 3864-2; the rest are terms of the trade (see README).
"""

from enum import StrEnum


class PartKind(StrEnum):
    """What a part is; everything that comes off, out or apart is one of these."""

    SCREWS = "screws"
    COVER = "cover"
    CONNECTOR = "connector"
    BOND = "bond"
    MODULE = "module"
    CELL = "cell"
    LOOSE = "loose"


class Action(StrEnum):
    """What one step does. `off/on` for screws, bonds and loose items, `open/close` for connectors,
    `lift/fit` for covers, modules and cells; the rest leave every part where it is."""

    OFF = "off"
    ON = "on"
    OPEN = "open"
    CLOSE = "close"
    LIFT = "lift"
    FIT = "fit"
    CHECK = "check"
    WAIT = "wait"
    READ = "read"
    WORK = "work"


REMOVALS = frozenset({Action.OFF, Action.OPEN, Action.LIFT})
REFITS = frozenset({Action.ON, Action.CLOSE, Action.FIT})

#: actions that leave every part where it is
MOVELESS = frozenset({Action.CHECK, Action.WAIT, Action.READ, Action.WORK})

#: the refit that answers each removal
ANSWER = {Action.OFF: Action.ON, Action.OPEN: Action.CLOSE, Action.LIFT: Action.FIT}

#: which removal belongs to which kind of part
REMOVAL_OF = {
    PartKind.SCREWS: Action.OFF,
    PartKind.BOND: Action.OFF,
    PartKind.LOOSE: Action.OFF,
    PartKind.CONNECTOR: Action.OPEN,
    PartKind.COVER: Action.LIFT,
    PartKind.MODULE: Action.LIFT,
    PartKind.CELL: Action.LIFT,
}


class Stage(StrEnum):
    """The stages of a job, in their order."""

    PREPARATION = "preparation"
    WAY_IN = "way-in"
    SWAP = "swap"
    WAY_BACK = "way-back"
    TEST = "test"
    SEAL = "seal"
    CLOSE_OUT = "close-out"


class SignalWord(StrEnum):
    """Severity of a caution (ANSI Z535.6): the first three concern injury, NOTICE never does."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


class WaitKind(StrEnum):
    """Why a countdown runs. Heat and discharge hold their step until the time is over; cure and soak go on
    while other steps are done."""

    HEAT = "heat"
    DISCHARGE = "discharge"
    CURE = "cure"
    SOAK = "soak"


#: waits that hold their own step
HOLDING = frozenset({WaitKind.HEAT, WaitKind.DISCHARGE})


class Face(StrEnum):
    """Which side of the device must be up."""

    FRONT = "front"
    BACK = "back"


class Answer(StrEnum):
    """The four answers to a line of a check or test list."""

    WORKS = "works"
    FAILS = "does not work"
    NOT_TESTABLE = "not testable"
    NOT_PRESENT = "not present"


class Agreement(StrEnum):
    """The two answers to a line that compares: a marking, a count, a colour with what it should be."""

    AGREES = "agrees"
    DIFFERS = "differs"


class AnswerSet(StrEnum):
    """Which answers a line of a check or test list can have."""

    WORKS = "works"
    AGREES = "agrees"


#: the answers of each set, in the order they are offered
CHOICES: dict[AnswerSet, tuple[str, ...]] = {
    AnswerSet.WORKS: tuple(Answer),
    AnswerSet.AGREES: tuple(Agreement),
}

#: answers that mean that something is wrong
FAILING: frozenset[str] = frozenset({Answer.FAILS, Agreement.DIFFERS})


class OwnWork(StrEnum):
    """The places where a part map states work at a part."""

    BEFORE_OFF = "before_off"
    HEAT = "heat"
    AFTER_OFF = "after_off"
    BEFORE_ON = "before_on"
    AFTER_ON = "after_on"
