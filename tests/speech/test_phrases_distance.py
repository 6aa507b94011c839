"""Rating a phrase: near ones are found, the bundled commands keep apart, and the sounds come from a dictionary."""

import itertools

import pytest

from benchguide.speech.listen_command import rate_phrase, rating_lines
from benchguide.speech.phrases import Group, bundled
from benchguide.speech.phrases_distance import (
    NEAREST,
    NOTHING,
    between,
    confusions,
    cost,
    distance,
    sounds_of,
)


def test_the_bundled_commands_are_as_far_apart_as_is_asked_of_new_ones() -> None:
    phrases = bundled().of(Group.COMMAND, Group.FURTHER, Group.ANSWER)
    nearest = min(itertools.combinations(phrases, 2), key=lambda pair: between(*pair))
    assert between(*nearest) >= NEAREST, nearest


def test_the_confusions_are_shares() -> None:
    said: dict[str, float] = {}
    for (one, _), share in confusions().items():
        assert 0 < share <= 1
        said[one] = said.get(one, 0) + share
    assert max(said.values()) <= 1.001
    assert confusions()["s", "z"] > confusions().get(
        ("s", "m"), 0
    )  # voicing is lost before the place of a sound


def test_what_is_mixed_up_costs_less() -> None:
    assert cost("s", "s") == 0
    assert cost("s", "z") < cost("s", "u") == 1
    assert cost("s", "z") == cost("z", "s")
    assert 0 < cost("t", NOTHING) < 1


def test_the_distance_is_one_of_edits() -> None:
    assert distance(("s", "u"), ("s", "u")) == 0
    assert distance(("s",), ("u",)) == 1
    assert distance(("s", "u"), ("u",)) == pytest.approx(cost("s", NOTHING) / 2)
    assert distance((), ("u", "u")) == pytest.approx(cost("u", NOTHING))


def test_a_near_phrase_is_told_and_a_far_one_passes() -> None:
    pytest.importorskip("pocketsphinx")
    near = rate_phrase("next stop")
    assert near[0].words == "next step"
    assert near[0].too_near
    assert "too much like 'next step'" in rating_lines("next stop", near)[-1]
    far = rate_phrase("zoom out")
    assert [one.distance for one in far] == sorted(one.distance for one in far)
    assert "far enough" in rating_lines("zoom out", far)[-1]
    assert "One word alone" in rating_lines("zoom", rate_phrase("zoom"))[-1]


def test_sounds_come_from_the_cmu_dictionary() -> None:
    pytest.importorskip("pocketsphinx")
    # CMU Pronouncing Dictionary: SCREW  S K R UW
    assert sounds_of("screw", bundled())[0] == ("s", "k", "ɹ", "u")
    assert ("ɹ", "oʊ", "t", "eɪ", "t") in sounds_of("rotate", bundled())  # R OW T EY T


def test_unknown_words_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    monkeypatch.setitem(sys.modules, "hama", None)
    with pytest.raises(ValueError, match="The sound of 'rotate' is not known"):
        rate_phrase("rotate left")
    with pytest.raises(ValueError, match="Give the words"):
        rate_phrase("  ")


def test_hama_guesses_what_no_dictionary_has(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    pytest.importorskip("hama")
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    assert sounds_of("screwish", bundled())[0][:4] == ("s", "k", "ɹ", "u")
