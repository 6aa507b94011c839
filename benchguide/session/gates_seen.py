"""Hold points that follow from what the camera saw: a required photo that is poor, a screw that is too long.

Part of gates.py and gates_part.py. Differences and the mat bar nothing: they are candidates, shown and recorded.
"""

from collections.abc import Iterator, Sequence

from benchguide.procedure.photos import needs_as_found, needs_as_left
from benchguide.procedure.procedure import Step
from benchguide.session.events import PhotoTaken
from benchguide.session.gate import Gate
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
