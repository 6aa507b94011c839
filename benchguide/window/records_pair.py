"""Which photos of a record were compared with each other, and where they may differ. Values only, no widgets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchguide.review.record import Record
from benchguide.review.seen import Box, ComparedLine, comparisons_of
from benchguide.session.events import PhotoTaken


@dataclass(frozen=True, slots=True)
class Outline:
    """One candidate on a photo: its box in shares of the photo, its number, what it may be and what was said."""

    number: int
    box: Box
    words: str


@dataclass(frozen=True, slots=True)
class Paired:
    """The photo a photo was compared with, and the places that may differ, on this photo and on the other."""

    other: str
    outlines: tuple[Outline, ...]
    on_other: tuple[Outline, ...] = ()
    why: str = ""
    """Why nothing could be told; empty when the photos could be laid over each other."""
    anew: bool = False
    """A newer photo was compared later."""

    def turned(self, sha256: str) -> Paired:
        """The same pair from the other side; `sha256` is this photo."""
        return Paired(sha256, self.on_other, self.outlines, self.why, self.anew)


def pairs_of(record: Record) -> dict[str, Paired]:
    """By the hash of a photo. An as-left photo with its own comparison; an as-found photo with the newest in which
    something may differ, else with the newest."""
    photos = {line.sha256: line.photo for line in record.photos}
    found: dict[str, Paired] = {}
    for line in comparisons_of(record):
        if not {line.as_found, line.as_left} <= photos.keys():
            continue
        pair = _pair(line, photos)
        found[line.as_left] = pair
        before = found.get(line.as_found)
        if before is None or pair.outlines or not before.outlines:
            found[line.as_found] = pair.turned(line.as_left)
    return found


def _pair(line: ComparedLine, photos: Mapping[str, PhotoTaken]) -> Paired:
    on_left, on_found = [], []
    for each in line.candidates:
        words = f"({each.number}) {each.hint}, {each.answer or 'not answered'}"
        on_left.append(Outline(each.number, _shares(each.left, photos[line.as_left]), words))
        on_found.append(Outline(each.number, _shares(each.found, photos[line.as_found]), words))
    why = "" if line.aligned else line.why
    return Paired(line.as_found, tuple(on_left), tuple(on_found), why, line.anew)


def _shares(box: Box, photo: PhotoTaken) -> Box:
    x, y, w, h = box
    return x / photo.width, y / photo.height, w / photo.width, h / photo.height


def words_of(pair: Paired) -> str:
    """One line about a pair; never that nothing differs."""
    later = " As-left was taken anew later." if pair.anew else ""
    if pair.why:
        return f"Cannot tell what differs: {pair.why}{later}"
    if not pair.outlines:
        return f"Compared: no place stood out.{later}"
    return "May differ: " + "; ".join(outline.words for outline in pair.outlines) + "." + later
