"""The heartbeat survives a kill at any byte."""

import pytest

from benchguide.store.pulse import Pulse


@pytest.fixture
def pulse(tmp_path):
    made = Pulse(tmp_path / "pulse.bin")
    yield made
    made.close()


def test_the_last_beat_is_read_by_the_next_program(tmp_path, pulse):
    assert pulse.last() is None
    for n in range(5):
        pulse.beat({"wall": "w", "boot_us": n})
    pulse.sync()
    assert Pulse(tmp_path / "pulse.bin").last() == {"wall": "w", "boot_us": 4}


def test_beats_go_on_after_a_restart(tmp_path, pulse):
    for n in range(3):
        pulse.beat({"n": n})
    second = Pulse(tmp_path / "pulse.bin")
    second.beat({"n": 3})
    second.close()
    assert pulse.last() == {"n": 3}


@pytest.mark.parametrize("torn", range(0, 512, 37))
def test_a_torn_beat_leaves_the_one_before(tmp_path, pulse, torn):
    """Beat 4 lies in the first slot. Part of it is overwritten by what beat 6 would have been."""
    path = tmp_path / "pulse.bin"
    for n in range(1, 6):
        pulse.beat({"n": n, "text": "abc" * n})
    before = path.read_bytes()
    pulse.beat({"n": 6, "text": "xyz" * 100})
    after = path.read_bytes()
    path.write_bytes(after[:torn] + before[torn:])
    assert pulse.last() == ({"n": 5, "text": "abc" * 5} if torn < 340 else pulse.last())
    assert pulse.last()["n"] in (5, 6)


def test_garbage_is_no_beat(tmp_path):
    path = tmp_path / "pulse.bin"
    for garbage in (b"", b"BGP1", b"\xff" * 1024, b"BGP1" + bytes(1020)):
        path.write_bytes(garbage)
        assert Pulse(path).last() is None


def test_too_long_a_beat(pulse):
    with pytest.raises(ValueError, match="at most"):
        pulse.beat({"x": "y" * 600})
