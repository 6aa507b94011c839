"""Which photos of a record were compared with each other, and where they may differ. Values only, no widgets."""

from __future__ import annotations

from dataclasses import dataclass

from benchguide.review.record import Record
from benchguide.session.events import PhotosCompared, PhotoTaken


@dataclass(frozen=True, slots=True)
class Outline:
    """One candidate on a photo: its box in shares of the photo, its number, what it may be and what was said."""

    number: int
    box: tuple[float, float, float, float]
    words: str


@dataclass(frozen=True, slots=True)
class Paired:
    """The photo a photo was compared with last, and the places that may differ."""

    other: str
    outlines: tuple[Outline, ...]
    why: str = ""
    """Why nothing could be told; empty when the photos could be laid over each other."""


def pairs_of(record: Record) -> dict[str, Paired]:
    """By the hash of a photo; the newest comparison of a photo counts."""
    photos = {line.sha256: line.photo for line in record.photos}
    found: dict[str, Paired] = {}
    for fact in record.facts:
        what = fact.what
        if isinstance(what, PhotosCompared) and {what.as_found, what.as_left} <= photos.keys():
            newest = record.state.compared.get(what.step)
            answers = record.state.differences if newest == what else {}
            for sha, other in ((what.as_left, what.as_found), (what.as_found, what.as_left)):
                found[sha] = Paired(other, _outlines(what, photos[sha], answers), what.why)
    return found


def _outlines(compared: PhotosCompared, photo: PhotoTaken, answers: object) -> tuple[Outline, ...]:
    said = answers if isinstance(answers, dict) else {}
    left = photo.sha256 == compared.as_left
    made = []
    for number, each in enumerate(compared.candidates, start=1):
        box = [each[name] for name in "xywh"] if left else each["found"]
        assert isinstance(box, list)
        x, y, w, h = (float(value) for value in box)
        answer = said.get((compared.step, number), "not answered")
        shares = (x / photo.width, y / photo.height, w / photo.width, h / photo.height)
        made.append(Outline(number, shares, f"{number} {each['hint']}: {answer}"))
    return tuple(made)


def words_of(pair: Paired) -> str:
    """One line about a pair; never that nothing differs."""
    if pair.why:
        return f"Cannot tell what differs: {pair.why}"
    if not pair.outlines:
        return "Compared: no place stood out. T flips."
    return "May differ: " + "; ".join(outline.words for outline in pair.outlines) + ". T flips."
