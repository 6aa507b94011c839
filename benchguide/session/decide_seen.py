"""Decisions about what the camera saw: poor photos, marked places, differences, the parts mat, measured screws.

Part of decide.py, which alone calls these. The pictures were judged before; here it is judged whether that fits
the session.
"""

from math import isfinite

from benchguide.procedure.words import PartKind
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.events import Event, PhotoTaken
from benchguide.session.gates_seen import poor_photos
from benchguide.session.mat import mat_against_ledger
from benchguide.session.refused import Refused
from benchguide.session.state import Purpose, State

#: what a person may say of a candidate
ANSWERS = ("intended", "mended", "not a difference")
#: what can be marked on a photo
PLACE_KINDS = ("screw", "connector", "other")
#: what a measured screw can be told to be; the third bars it
VERDICTS = ("matches", "does not match", "longer: stop", "cannot tell")
#: far more than anybody can look through; a comparison that finds more has not been told apart
MOST_CANDIDATES = 200


def keep_poor_photo(state: State, command: cmd.KeepPoorPhoto) -> list[Event]:
    """A photo with faults is kept as it is."""
    if command.sha256:
        photo = _photo(state, command.sha256)
    else:
        held = poor_photos(state, state.step)
        if not held:
            raise Refused("No poor photo is in the way here.")
        photo = held[-1]
    if not photo.faults:
        raise Refused("Nothing was found wrong with that photo.")
    if photo.sha256 in state.kept_poor:
        raise Refused("That photo is kept already.")
    return [ev.PoorPhotoKept(photo.sha256, photo.step)]


def mark_place(state: State, command: cmd.MarkPlace) -> list[Event]:
    """A place is marked on a photo."""
    photo = _photo(state, command.photo)
    if command.kind not in PLACE_KINDS:
        raise Refused(f"Mark a {', a '.join(PLACE_KINDS[:-1])} or another thing, not {command.kind!r}.")
    x, y, size = (_number(value) for value in (command.x, command.y, command.size))
    if not (0 <= x < photo.width and 0 <= y < photo.height and 0 < size <= max(photo.width, photo.height)):
        raise Refused("The place lies outside the photo.")
    number = len(state.places.get(photo.sha256, ())) + 1
    return [ev.PlaceMarked(photo.sha256, number, command.kind, x, y, size)]


def clear_place(state: State, command: cmd.ClearPlace) -> list[Event]:
    """A mark is taken away."""
    places = state.places.get(command.photo, ())
    if not 1 <= command.number <= len(places) or places[command.number - 1] is None:
        raise Refused("There is no such mark on this photo.")
    return [ev.PlaceCleared(command.photo, command.number)]


def keep_comparison(state: State, command: cmd.KeepComparison) -> list[Event]:
    """A comparison of two photos of this session."""
    found, left = _photo(state, command.as_found), _photo(state, command.as_left)
    if found.purpose != Purpose.AS_FOUND or left.purpose != Purpose.AS_LEFT:
        raise Refused("An as-left photo is compared with an as-found photo.")
    if not command.aligned and (command.candidates or not command.why.strip()):
        raise Refused("A comparison that cannot tell needs a reason and has no candidates.")
    if len(command.candidates) > MOST_CANDIDATES:
        raise Refused("More places differ than can be looked through.")
    docs = [_candidate(each) for each in command.candidates]
    return [
        ev.PhotosCompared(left.step, found.sha256, left.sha256, command.aligned, command.why.strip(), docs)
    ]


def _candidate(each: cmd.Difference) -> dict[str, object]:
    x, y, w, h = each.box
    score = _number(each.score)
    if min(w, h) < 1 or not 0 <= score <= 1:
        raise Refused("A candidate needs a box in the photo and a score from 0 to 1.")
    return {"x": x, "y": y, "w": w, "h": h, "found": list(each.found), "score": score, "hint": each.hint}


def answer_difference(state: State, command: cmd.AnswerDifference) -> list[Event]:
    """A person says what one candidate is."""
    step = command.step or state.step.id
    compared = state.compared.get(step)
    if compared is None or not 1 <= command.number <= len(compared.candidates):
        raise Refused("There is no such difference.")
    if command.answer not in ANSWERS:
        raise Refused(f"Answer with: {', '.join(ANSWERS[:-1])} or {ANSWERS[-1]}.")
    return [ev.DifferenceAnswered(step, command.number, command.answer)]


def keep_mat_reading(state: State, command: cmd.KeepMatReading) -> list[Event]:
    """The mat was read from a photo of this session; what the ledger says stands beside it."""
    photo = _photo(state, command.photo)
    if photo.purpose != Purpose.MAT:
        raise Refused("The mat is read from a photo that was taken of it.")
    names = [cell.cell for cell in command.cells]
    if not names or len(set(names)) != len(names):
        raise Refused("A reading of the mat has every cell once.")
    beside = {row.cell: row for row in mat_against_ledger(state, command.cells)}
    cells = {cell.cell: cell for cell in command.cells}
    docs: list[dict[str, object]] = []
    for name, row in beside.items():
        cell = cells.get(name) or cmd.CellSeen(name, None, 0)
        items = [{"kind": kind, "length_mm": mm, "sigma_mm": sigma} for kind, mm, sigma in cell.items]
        docs.append(
            {
                "cell": name,
                "count": cell.count,
                "at_least": cell.at_least,
                "items": items,
                "reason": cell.reason,
                "expected": row.expected,
                "verdict": row.verdict,
                "told": row.sentence,
            }
        )
    return [ev.MatRead(photo.sha256, photo.step, command.paper, docs, list(command.warnings))]


def keep_measurement(state: State, command: cmd.KeepMeasurement) -> list[Event]:
    """One screw was measured for the place of a part."""
    part = state.job.device.by_id.get(command.part)
    if part is None or part.kind is not PartKind.SCREWS:
        raise Refused("A screw is measured for the place of screws of this device.")
    if command.verdict not in VERDICTS:
        raise Refused(f"A measured screw is told as: {', '.join(VERDICTS)}.")
    length, sigma = _number(command.length_mm), _number(command.sigma_mm)
    if length <= 0 or sigma <= 0:
        raise Refused("A measured length and its uncertainty are positive numbers of millimetres.")
    return [ev.ScrewMeasured(part.id, state.step.id, length, sigma, command.verdict, command.told.strip())]


def _photo(state: State, sha256: str) -> PhotoTaken:
    photo = next((p for p in reversed(state.photos) if p.sha256 == sha256), None)
    if photo is None:
        raise Refused("There is no such photo in this session.")
    return photo


def _number(value: object) -> float:
    if type(value) not in (int, float) or not isfinite(value):  # type: ignore[arg-type]
        raise Refused("Enter a number.")
    return float(value)  # type: ignore[arg-type]
