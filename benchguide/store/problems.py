"""The few errors of this room that a caller reacts to. Each carries one sentence for a person."""


class StoreProblem(Exception):
    """Something about the data folder that a person has to mend; `str()` is the sentence with the remedy."""


class AlreadyOpen(StoreProblem):
    """Another program holds the log for writing. Opening with mode="read" still works.

    `pid` and `since` (RFC 3339) are what the holder wrote down, None when it could not be read.
    """

    def __init__(self, sentence: str, pid: int | None = None, since: str | None = None) -> None:
        super().__init__(sentence)
        self.pid = pid
        self.since = since


class NotKept(StoreProblem):
    """Events were not stored, none of them. The same call may be made again once the cause is gone."""


class PhotoNotKept(StoreProblem):
    """A photo is not on the disk (or must not be): no file was left behind."""
