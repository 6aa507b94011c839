"""Makes text ready to be read aloud: cautions first with their signal word, units and symbols in words, no markup.

Speaks nothing itself. Whatever a file holds (any Unicode, markup, control characters) leaves here as harmless words.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

#: A voice that is given a book cannot be interrupted by its end; the screen shows the whole text.
MOST_CHARACTERS = 1200

#: Units after a figure (symbols of ISO 80000 and the SI brochure), singular and plural.
UNITS = {
    "mm": ("millimetre", "millimetres"),
    "cm": ("centimetre", "centimetres"),
    "µm": ("micrometre", "micrometres"),
    "m": ("metre", "metres"),
    "kV": ("kilovolt", "kilovolts"),
    "mV": ("millivolt", "millivolts"),
    "V": ("volt", "volts"),
    "µA": ("microampere", "microamperes"),
    "mA": ("milliampere", "milliamperes"),
    "mAh": ("milliampere hour", "milliampere hours"),
    "A": ("ampere", "amperes"),
    "Ω": ("ohm", "ohms"),
    "kΩ": ("kilohm", "kilohms"),
    "MΩ": ("megohm", "megohms"),
    "mW": ("milliwatt", "milliwatts"),
    "W": ("watt", "watts"),
    "Wh": ("watt hour", "watt hours"),
    "°C": ("degree Celsius", "degrees Celsius"),
    "K": ("kelvin", "kelvins"),
    "cNm": ("centinewton metre", "centinewton metres"),
    "Nm": ("newton metre", "newton metres"),
    "N": ("newton", "newtons"),
    "µF": ("microfarad", "microfarads"),
    "nF": ("nanofarad", "nanofarads"),
    "pF": ("picofarad", "picofarads"),
    "Hz": ("hertz", "hertz"),
    "kHz": ("kilohertz", "kilohertz"),
    "MHz": ("megahertz", "megahertz"),
    "g": ("gram", "grams"),
    "kg": ("kilogram", "kilograms"),
    "ml": ("millilitre", "millilitres"),
    "min": ("minute", "minutes"),
    "s": ("second", "seconds"),
    "h": ("hour", "hours"),
    "dB": ("decibel", "decibels"),
    "%": ("percent", "percent"),
    "°": ("degree", "degrees"),
}
#: Signs that a voice leaves out or spells oddly.
SIGNS = {
    "±": " plus or minus ",
    "≤": " at most ",
    "≥": " at least ",
    "→": " to ",
    "×": " times ",
    "·": ", ",
    "…": ", ",
    "&": " and ",
    "<": " less than ",
    ">": " more than ",
    "=": " equals ",
    "+": " plus ",
    "@": " at ",
    "Ω": " ohms ",
    "°": " degrees ",
    "%": " percent ",
    "µ": " micro ",
    "/": " ",
    "|": ", ",
    "~": " about ",
}
_UNIT = re.compile(
    r"(?<![\w.])([-−]?\d+(?:[.,]\d+)?)\s?("
    + "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True))
    + r")(?![\w°%/])"
)
_RANGE = re.compile(r"(?<=\d)\s?[-–—]\s?(?=\d)")
_THREAD = re.compile(r"\bM(\d+(?:\.\d+)?)\s?[x×]\s?(\d+(?:\.\d+)?)(?!\d)")
_MULTIPLE = re.compile(r"\b(\d+)\s?[x×]\s")
_TAG = re.compile(r"</?[A-Za-z!?][^<>]{0,200}>")
_KEPT = ("L", "M", "N", "Zs")


def spoken(text: str) -> str:
    """One text as it is to be spoken: letters, figures, spaces and plain stops only; at most 1200 characters.

    What is cut off by that limit is cut at a sentence and told ("The rest is on the screen.").
    """
    text = unicodedata.normalize("NFKC", text[: 20 * MOST_CHARACTERS].replace("µ", "\0")).replace("\0", "µ")
    text = text.replace("μ", "µ").replace("Ω", "Ω")
    text = _TAG.sub(" ", text)
    text = _THREAD.sub(r"M \1 by \2", text)
    text = _MULTIPLE.sub(r"\1 times ", text)
    text = _RANGE.sub(" to ", text)
    text = _UNIT.sub(_unit_words, text)
    for sign, words in SIGNS.items():
        text = text.replace(sign, words)
    return _shortened(_plain(text))


def _unit_words(found: re.Match[str]) -> str:
    figure, unit = found[1].replace(",", ".").replace("−", "-"), found[2]
    one, many = UNITS[unit]
    said = figure.replace("-", "minus ")
    return f"{said} {one if figure in ('1', '-1') else many}"


def _plain(text: str) -> str:
    kept = []
    for sign in text:
        kind = unicodedata.category(sign)
        kept.append(sign if sign in ".,;:?!'" or kind.startswith(_KEPT) else " ")
    words = " ".join("".join(kept).split())
    words = re.sub(r"\s+([.,;:?!])", r"\1", words)
    return re.sub(r"([.,;:?!])[.,;:?!]+", r"\1", words).strip(" ,;:")


def _shortened(text: str) -> str:
    if len(text) <= MOST_CHARACTERS:
        return text
    cut = text[:MOST_CHARACTERS]
    end = max(cut.rfind(stop) for stop in ".!?")
    if end < MOST_CHARACTERS // 2:
        end = max(cut.rfind(" "), MOST_CHARACTERS // 2) - 1
    return cut[: end + 1].rstrip(" ,;:") + " The rest is on the screen."


def sentence(text: str) -> str:
    """The spoken text with a full stop, so that a voice ends there; empty stays empty."""
    said = spoken(text)
    return said if not said or said[-1] in ".?!" else f"{said}."


def step_words(
    text: str,
    *,
    cautions: Iterable[tuple[str, str]] = (),
    moved: str = "",
    key_point: str = "",
    holds: Iterable[str] = (),
) -> str:
    """A whole step: each caution as "Warning. its text." first, then the step, what it moves, its key point, holds.

    `cautions` are (signal word, text), the most severe first, as they are to be heard. Cautions are never cut off by
    the limit on length that holds for each text alone.
    """
    said = [f"{word.capitalize()}. {sentence(words)}" for word, words in cautions]
    said.append(sentence(text))
    said.append(sentence(moved))
    if key_point:
        said.append(f"Key point. {sentence(key_point)}")
    said += [sentence(hold) for hold in holds]
    return " ".join(part for part in said if part.strip())
