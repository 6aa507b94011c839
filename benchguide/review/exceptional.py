"""One thing out of the ordinary in a record. Values only; which there are stands in exceptions.py."""

from dataclasses import dataclass

from benchguide.session.moment import Moment


@dataclass(frozen=True, slots=True)
class Exceptional:
    """One thing out of the ordinary. `kind` is a short word, `said` what a person wrote about it, if
    anything.
    """

    kind: str
    sentence: str
    said: str = ""
    step: str = ""
    at: Moment | None = None
