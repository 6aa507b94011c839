"""Which as-found photo belongs beside a refit step. Matches parts, not step numbers."""

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS
from benchguide.session.events import PhotoTaken
from benchguide.session.state import Purpose, State


def as_found_for(state: State, step: Step) -> PhotoTaken | None:
    """The newest as-found photo of exactly the parts this refit step puts back, or None.

    Photos of the step that removed the part come first; a photo of another part is never given.
    """
    if step.action not in REFITS:
        return None
    wanted = set(step.parts)
    found = [photo for photo in reversed(state.photos) if photo.purpose == Purpose.AS_FOUND]
    fitting = [photo for photo in found if wanted & _shown(state, photo)]
    removed = (photo for photo in fitting if _of_removal(state, photo))
    return next(removed, fitting[0] if fitting else None)


def _shown(state: State, photo: PhotoTaken) -> set[str]:
    """The parts a photo shows: those of its step, or the one part it was taken of."""
    step = state.step_of(photo.step)
    parts = set(step.parts) if step else set()
    return parts if not photo.part or photo.part in parts else {photo.part}


def _of_removal(state: State, photo: PhotoTaken) -> bool:
    """Whether it was taken when its part came off: at the step for that, or of a part taken off out of order."""
    step = state.step_of(photo.step)
    return step is not None and (step.action in REMOVALS or photo.part not in step.parts)
