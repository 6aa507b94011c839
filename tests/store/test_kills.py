"""A handful of kills in every run of the tests; tests/bench/bench_kills.py does a thousand."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from kill_trial import bundled_job, run_trial


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the trial forks and sends SIGKILL")
def test_nothing_shown_is_lost_when_the_program_is_killed(tmp_path: Path) -> None:
    job = bundled_job(Path(__file__).parents[2])
    events = photos = 0
    for seed in range(12):
        shown, kept, wrong = run_trial(tmp_path, job, seed)
        assert wrong == []
        events, photos = events + shown, photos + kept
    assert events > 12
    assert photos > 0
