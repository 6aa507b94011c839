"""What every file model is built from: the common base, kinds of short values, the caution. No models of files."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from benchguide.procedure.words import SignalWord

Ident = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=600)]
Label = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Unit = Annotated[str, StringConstraints(strip_whitespace=True, max_length=12)]
Celsius = Annotated[float, Field(gt=-50, lt=500)]
Millimetre = Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)]
Seconds = Annotated[int, Field(ge=0, le=7 * 86400)]
Countdown = Annotated[int, Field(ge=1, le=7 * 86400)]
Point = tuple[Millimetre, Millimetre]
Box = tuple[Millimetre, Millimetre, Millimetre, Millimetre]


class Plain(BaseModel):
    """Common habits of every file model: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True, allow_inf_nan=False)


class Caution(Plain):
    """One caution, shown before the action it belongs to."""

    word: SignalWord
    """Signal word: DANGER, WARNING, CAUTION (injury) or NOTICE (damage only)."""
    text: Text
    """A clear command or condition first, then the risk."""
