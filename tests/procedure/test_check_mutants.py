"""Bundled procedures broken in every way the checker knows: it names the right rule at the right line.

Some hundred mutants; `python tests/bench/bench_mutants.py` makes several thousand.
"""

import pytest

from benchguide.procedure.problems import Severity
from tests.mutants.run import KINDS, Judge, bundles, judge, mutants, sound, table, total_of

BUNDLES = bundles()


def test_the_unbroken_ones_are_silent():
    assert sound(BUNDLES) == []


@pytest.mark.slow
def test_mutants_are_named_at_their_line():
    found = judge(mutants(seed=2026, rounds=1, sources=BUNDLES))
    total = total_of(found)
    misses = [f"{m.kind}: {m.name}: {m.told}: line {m.line}" for m, _ in total.misses]
    assert total.count >= 150
    assert misses == [], table(found)
    assert total.exact == total.orders


def test_every_kind_of_fault_is_made_somewhere():
    made = {kind.__name__: next(mutants(1, 1, BUNDLES, [kind]), None) for kind in KINDS}
    assert [name for name, mutant in made.items() if mutant is None] == []


def test_mutants_are_the_same_every_time():
    kinds = KINDS[:3]
    first, again = (list(mutants(5, 1, BUNDLES[:1], kinds)) for _ in range(2))
    assert first == again
    assert first != list(mutants(6, 1, BUNDLES[:1], kinds))


def test_a_mutant_differs_in_few_rows():
    """What is broken is one thing: nearly every row of the file is as it was."""
    for mutant in mutants(3, 1, BUNDLES[:1], KINDS):
        bundle = BUNDLES[0]
        rows = set(bundle.job_text.splitlines()) | set(bundle.device_text.splitlines())
        new = [row for row in (*mutant.job.splitlines(), *mutant.device.splitlines()) if row not in rows]
        assert len(new) <= 20, (mutant.kind, new)


def test_the_judge_tells_reading_from_checking():
    bundle = BUNDLES[0]
    problems, by_reading = Judge().check(bundle.job_text.replace("steps:", "stepps:"), bundle.device_text)
    assert by_reading
    assert problems[0].severity is Severity.ERROR
