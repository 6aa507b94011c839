"""What the camera saw that a supervisor should look at: poor photos, differences, the mat, long screws.

Candidates stay candidates here too: an unanswered one is listed as such, and nothing is ever called good.
"""

from collections.abc import Iterator

from benchguide.review.exceptional import Exceptional
from benchguide.review.record import Record
from benchguide.review.seen import comparisons_of
from benchguide.session import events as ev
from benchguide.session.gates_seen import LONGER
from benchguide.session.mat import DISAGREE
from benchguide.session.photo_faults import fault_words

NO_DIFFERENCE = "not a difference"


def poor_photos(record: Record) -> Iterator[Exceptional]:
    """Poor photos that were kept on purpose, and required ones that no better one followed."""
    kept = {f.what.sha256: f for f in record.facts if isinstance(f.what, ev.PoorPhotoKept)}
    good = {(p.step, p.purpose) for p in record.photos if not p.photo.faults}
    for line in record.photos:
        faults = ", ".join(fault_words(fault) for fault in line.photo.faults)
        if line.sha256 in kept:
            fact = kept[line.sha256]
            told = f"A poor {line.purpose} photo was kept by {fact.by}: it is {faults}."
            yield Exceptional("photo", told, "", line.step, fact.at)
        elif faults and line.purpose in ("as-found", "as-left") and (line.step, line.purpose) not in good:
            yield Exceptional("photo", f"The {line.purpose} photo is {faults}.", "", line.step, line.at)


def differences(record: Record) -> Iterator[Exceptional]:
    """The candidates of each step's newest comparison with what was said of them, and what was mended before it."""
    for line in comparisons_of(record):
        if not line.aligned and not line.anew:
            told = f"As-left could not be compared with as-found: {line.why}"
            yield Exceptional("cannot tell", told, "", line.step, line.at)
        for each in line.candidates:
            if line.anew and each.answer in ("", NO_DIFFERENCE):
                continue  # the newer comparison tells it again, or it was none
            answer = f"{each.answer or 'not answered'}{', the photo was taken anew' if line.anew else ''}"
            told = f"May differ from as-found ({each.number}): {each.hint} - {answer}."
            yield Exceptional("difference", told, "", line.step, line.at)


def mat_disagreements(record: Record) -> Iterator[Exceptional]:
    """Cells that did not agree with the ledger in the newest reading of each step."""
    newest = {f.what.step: f for f in record.facts if isinstance(f.what, ev.MatRead)}
    for step, fact in newest.items():
        assert isinstance(fact.what, ev.MatRead)
        for cell in fact.what.cells:
            if cell["verdict"] == DISAGREE:
                yield Exceptional("mat", f"Parts mat, cell {cell['told']}", "", step, fact.at)


def long_screws(record: Record) -> Iterator[Exceptional]:
    """Screws that were measured and found longer than what came out."""
    parts = record.state.job.device.by_id
    for fact in record.facts:
        what = fact.what
        if isinstance(what, ev.ScrewMeasured) and what.verdict == LONGER:
            told = f"A screw measured for {parts[what.part].name} was too long. {what.told}"
            yield Exceptional("screw", told.strip(), "", what.step, fact.at)
