"""The table of phrases: the bundled one is sound, a bad one is refused with all faults and the line of each."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchguide.speech.phrases import BadPhrases, Group, bundled, read_phrases

HEAD = (
    'benchguide = "phrases/1"\nlanguage = "en"\n[sounds]\nnext = "n ɛ k s t"\nstep = ["s t ɛ p", "s t ɪ p"]\n'
)


def _read(folder: Path, text: str | bytes):
    path = folder / "en.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_phrases(path)


def _faults(folder: Path, text: str | bytes) -> list[str]:
    with pytest.raises(BadPhrases) as caught:
        _read(folder, text)
    return caught.value.faults


def test_the_bundled_table_has_the_measured_commands_and_counts_to_twenty() -> None:
    table = bundled()
    commands = [phrase.command for phrase in table.of(Group.COMMAND)]
    assert commands == [
        "next step",
        "previous step",
        "take photo",
        "pause timer",
        "continue work",
        "say again",
        "start note",
        "end note",
        "step done",
        "cancel that",
        "list commands",
        "stop listening",
    ]
    assert [phrase.number for phrase in table.of(Group.NUMBER)] == list(range(1, 21))
    assert all(len(phrase.words.split()) == 2 for phrase in table.phrases if phrase.group is not Group.ANSWER)


def test_every_risky_command_can_be_confirmed_and_refused() -> None:
    table = bundled()
    answers = {phrase.command for phrase in table.of(Group.ANSWER)}
    assert any(phrase.risky for phrase in table.phrases)
    assert {"confirm", "line fails"} <= answers
    assert "cancel that" in {phrase.command for phrase in table.of(Group.COMMAND)}
    assert all(phrase.group is Group.FURTHER for phrase in table.phrases if phrase.risky)


def test_a_phrase_is_said_in_every_way_of_its_words(tmp_path: Path) -> None:
    table = _read(tmp_path, HEAD + '[[phrase]]\ncommand = "on"\nwords = "Next  step"\n')
    (phrase,) = table.phrases
    assert phrase.words == "Next step"
    next_word = ("n", "ɛ", "k", "s", "t")
    assert phrase.ways == ((next_word, ("s", "t", "ɛ", "p")), (next_word, ("s", "t", "ɪ", "p")))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("language = 'en'", "must begin with"),
        ("benchguide = 'phrases/1", "not valid TOML"),
        (b"\xff\xfe\x00", "not a text file"),
        (HEAD, "holds no phrase"),
        (
            HEAD + "[[phrase]]\ncommand = 'a'\nwords = 'next page'\n",
            "line 8: phrase 'next page': the sound of 'page'",
        ),
        (HEAD + "[[phrase]]\nwords = 'next step'\n", "needs a command and its words"),
        (
            HEAD + "[[phrase]]\ncommand = 'a'\nwords = 'next'\ngroup = 'numbers'\n",
            "the group is command, further, number",
        ),
        (HEAD + "[[phrase]]\ncommand = 'a'\nwords = 'next'\ngroup = 'number'\n", "has a whole number"),
        (HEAD + "[[phrase]]\ncommand = 'a'\nwords = 'next'\nrisk = true\n", "'risk' is not a key"),
        (HEAD + "[[phrase]]\ncommand = 'a'\nwords = 'next'\nrisky = 1\n", "risky is true or false"),
        (HEAD + "photo = 3\n", "the sound of 'photo' must be phonemes"),
        (
            HEAD + "[[phrase]]\ncommand='a'\nwords='next'\n[[phrase]]\ncommand='b'\nwords='next'\n",
            "sound the same",
        ),
        ('benchguide = "phrases/1"\nphrase = 1\n', "under its own [[phrase]]"),
        (HEAD + "a = " + "[" * 5000, "not valid TOML"),
    ],
)
def test_a_fault_is_told_in_a_sentence(tmp_path: Path, text: str | bytes, told: str) -> None:
    assert told in "\n".join(_faults(tmp_path, text))


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    rows = "[[phrase]]\ncommand = 'a'\nwords = 'next page'\n[[phrase]]\nwords = 'step'\n"
    assert len(_faults(tmp_path, HEAD + rows)) == 2


def test_a_huge_file_and_a_huge_table_are_refused(tmp_path: Path) -> None:
    assert "larger than" in _faults(tmp_path, "#" * 300_000)[0]
    many = "".join(f"[[phrase]]\ncommand = 'c{i}'\nwords = 'next'\n" for i in range(201))
    assert "more than the 200" in _faults(tmp_path, HEAD + many)[0]


def test_an_unknown_language_names_those_there_are() -> None:
    with pytest.raises(ValueError, match="There are: en"):
        bundled("xx")
    with pytest.raises(ValueError, match="no spoken phrases"):
        bundled("../en")


@settings(deadline=None)
@given(st.text(max_size=200))
def test_no_text_crashes_the_reader(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_text(HEAD + text, encoding="utf-8", errors="replace")
    try:
        read_phrases(path)
    except BadPhrases as bad:
        assert bad.faults  # noqa: PT017
