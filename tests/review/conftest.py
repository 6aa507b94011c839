"""Fixtures of the review tests."""

from collections.abc import Iterable
from pathlib import Path

import pytest

from tests.review.sample_sessions import Runner, eventful


@pytest.fixture
def runner(tmp_path: Path) -> Iterable[Runner]:
    """A session that has just begun."""
    made = Runner(tmp_path / "data")
    yield made
    made.log.close()


@pytest.fixture
def full(runner: Runner) -> Runner:
    """A finished session with one of everything."""
    return eventful(runner)
