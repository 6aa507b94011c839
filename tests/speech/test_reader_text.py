"""What is read aloud: units and signs in words, cautions first, and nothing harmful whatever a file holds."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchguide.speech.reader_text import MOST_CHARACTERS, UNITS, sentence, spoken, step_words


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("Set 3.85 V.", "Set 3.85 volts."),
        ("1 V", "1 volt"),
        ("2,5 mm", "2.5 millimetres"),
        ("60 °C for 3 min", "60 degrees Celsius for 3 minutes"),
        ("60°C", "60 degrees Celsius"),
        ("0.6 Nm ± 10 %", "0.6 newton metres plus or minus 10 percent"),
        ("47 µF", "47 microfarads"),
        ("47 \u03bcF", "47 microfarads"),
        ("4.7 k\u03a9", "4.7 kilohms"),
        ("4.7 k\u2126", "4.7 kilohms"),
        ("-5 V", "minus 5 volts"),
        ("20-30 s", "20 to 30 seconds"),
        ("6 x M2.5 x 8 mm", "6 times M 2.5 by 8 millimetres"),
        ("3 V/m is no unit here: Vm", "3 V m is no unit here: Vm"),
        ("the M in Max", "the M in Max"),
    ],
)
def test_units_and_signs_are_words(written: str, said: str) -> None:
    assert spoken(written) == said


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_has_words_and_one_is_singular(unit: str) -> None:
    one, many = UNITS[unit]
    assert spoken(f"1 {unit}") == f"1 {one}"
    assert spoken(f"2 {unit}") == f"2 {many}"


@pytest.mark.parametrize(
    "harmful",
    [
        "<speak><audio src='x'/>Lift</speak>",
        "<break time='9999s'/>Lift",
        "Lift\x00\x1b[31m\x07\ud800",
        "Lift \u202e\u200b\ufeff\U0001f600\u2028",
        "\r\n.\r\nLift\r\nQUIT\r\n",
        "[[inpt PHON]] Lift",
    ],
)
def test_markup_and_control_characters_are_gone(harmful: str) -> None:
    said = spoken(harmful)
    assert "Lift" in said
    assert not set(said) & set("<>[]{}\r\n\\|=\x00\x1b\x07\u202e\u200b\ud800")
    said.encode("utf-8")


@given(st.text(max_size=400))
def test_any_text_becomes_words(text: str) -> None:
    said = spoken(text)
    said.encode("utf-8")
    assert all(unicodedata.category(c)[0] in "LNM" or c in " .,;:?!'" for c in said)


def test_a_long_text_is_cut_at_a_sentence_and_says_so() -> None:
    said = spoken("This is a sentence. " * 500)
    assert len(said) <= MOST_CHARACTERS + 40
    assert said.endswith("sentence. The rest is on the screen.")
    assert len(spoken("x" * 10**6)) <= MOST_CHARACTERS + 40


def test_cautions_come_first_with_their_signal_word() -> None:
    said = step_words(
        "Take off the cover",
        cautions=[("WARNING", "Charged cell"), ("NOTICE", "Thin flex")],
        moved="4 x M2 x 3 mm, to cell A1",
        key_point="Lift the left edge first.",
        holds=["Photo of the plug first"],
    )
    assert said == (
        "Warning. Charged cell. Notice. Thin flex. Take off the cover. "
        "4 times M 2 by 3 millimetres, to cell A1. Key point. Lift the left edge first. Photo of the plug first."
    )
    assert sentence("") == ""
