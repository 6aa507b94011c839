"""Hold points that follow from what the camera saw: a required photo that is poor, a screw that is too long.

Part of gates.py and gates_part.py. Differences and what a mat holds bar nothing: they are candidates, shown and
recorded. Only where the camera has read the mat in this job does closing ask for the photo of the mat left empty.
"""

from collections.abc import Iterator, Sequence

from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS
from benchguide.session.events import PhotoTaken
from benchguide.session.gate import Gate
from benchguide.session.mat import CANNOT_TELL, left_on_mat
from benchguide.session.photo_faults import fault_words, remedy_of
from benchguide.session.state import Purpose, State

#: verdict of a measured screw that bars it
LONGER = "longer: stop"


def poor_photos(state: State, step: Step) -> tuple[PhotoTaken, ...]:
    """The newest photo of each required purpose of this step, where none of that purpose is good or kept."""
    device = state.job.device
    wanted = ((Purpose.AS_FOUND, needs_as_found), (Purpose.AS_LEFT, needs_as_left))
    held = []
    for purpose, needed in wanted:
        photos = state.photos_of(step.id, purpose) if needed(device, step) else ()
        if photos and all(photo.faults and photo.sha256 not in state.kept_poor for photo in photos):
            held.append(photos[-1])
    return tuple(held)


def poor_photo_gates(state: State, step: Step, purpose: Purpose) -> Iterator[Gate]:
    """The required photo is there, and poor."""
    for photo in poor_photos(state, step):
        if photo.purpose == purpose:
            first = photo.faults[0]
            yield Gate(
                f"poor-{purpose}:{step.id}",
                f"The {purpose} photo is {fault_words(first)}.",
                f"{remedy_of(first)} Take it again, or keep it anyway.",
            )


def too_long(state: State, parts: Sequence[str], subject: str) -> Iterator[Gate]:
    """The last screw measured for one of these parts is longer than what came out of there."""
    for part in parts:
        measured = state.measured.get(part)
        if measured is not None and measured.verdict == LONGER:
            name = state.job.device.by_id[part].name
            yield Gate(
                f"stop:{subject}",
                f"The screw measured for {name} is too long. {measured.told}".strip(),
                "Do not drive it in. Take another one and measure that.",
            )


def mat_left_empty(state: State) -> Iterator[Gate]:
    """The mat was read in this job, parts came off, and no reading shows it as it should be at the end.

    What still is out by the ledger may lie there: that is the count's to hold.
    """
    read = state.mat
    if read is None or not state.came_off:
        return
    if not _read_at_the_end(state, read.step):
        yield Gate(
            "empty-mat:finish",
            "The photo of the empty mat is missing.",
            "Show the mat to the camera (Q) and keep the reading.",
        )
    elif left := left_on_mat(state, read):
        cells = ", ".join(cell for cell, _verdict in left)
        unsure = all(verdict == CANNOT_TELL for _cell, verdict in left)
        told = f"It cannot be told whether the mat is empty: {cells}." if unsure else f"On the mat: {cells}."
        yield Gate("empty-mat:finish", told, "Look there, then keep another reading of the mat (Q).")


def _read_at_the_end(state: State, step: str) -> bool:
    """True when the mat was read at the last step that refits something, or after it."""
    refits = [place for place, each in enumerate(state.steps) if each.action in REFITS]
    return step in state.index and state.index[step] >= max(refits, default=0)
