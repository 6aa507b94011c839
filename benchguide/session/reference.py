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
    by_id = state.job.procedure.by_id
    wanted = set(step.parts)
    fitting = [
        photo
        for photo in reversed(state.photos)
        if photo.purpose == Purpose.AS_FOUND and photo.step in by_id and wanted & set(by_id[photo.step].parts)
    ]
    removed = (photo for photo in fitting if by_id[photo.step].action in REMOVALS)
    return next(removed, fitting[0] if fitting else None)
