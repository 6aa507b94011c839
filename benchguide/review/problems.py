"""The one error of this room: something a person has to mend, said in one sentence."""


class ReviewProblem(Exception):
    """A record cannot be read or exported; `str()` is the sentence with the remedy."""


class Stopped(Exception):  # being asked to stop is not a fault
    """A person stopped an export; nothing half-made was left behind."""
