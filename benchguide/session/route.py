"""The route: the steps a session follows, in order, and their plain form inside a fact. Decides nothing.

A route begins as the procedure's steps. When the way back is laid, its steps replace the rest of the route;
the fact holds them whole, so that an old session reads the same whatever a later program would compute.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pydantic import ValidationError

from benchguide.procedure.procedure import Step

Doc = dict[str, Any]


@dataclass(frozen=True)
class Route:
    """Steps in the order they are followed; every step has its own name."""

    steps: tuple[Step, ...]

    @cached_property
    def index(self) -> dict[str, int]:
        """Place of each step on the route, from 0."""
        return {step.id: i for i, step in enumerate(self.steps)}

    @cached_property
    def by_id(self) -> dict[str, Step]:
        """Steps by their short name."""
        return {step.id: step for step in self.steps}


def steps_to_docs(steps: Iterable[Step], known: Mapping[str, Step]) -> list[Doc]:
    """JSON form of steps: `{"step": name}` for one that is known already as it stands, else the whole step."""
    return [_to_doc(step, known.get(step.id)) for step in steps]


def _to_doc(step: Step, same: Step | None) -> Doc:
    if same is step or same == step:
        return {"step": step.id}
    return step.model_dump(mode="json", exclude_defaults=True)


def steps_from_docs(docs: Iterable[Doc], known: Mapping[str, Step]) -> tuple[Step, ...]:
    """Inverse of `steps_to_docs`. Raises ValueError or KeyError for what cannot be read."""
    return tuple(known[doc["step"]] if _is_reference(doc) else Step.model_validate(doc) for doc in docs)


def check_docs(docs: Iterable[Doc]) -> None:
    """Raises ValueError when a document is neither a reference nor a whole step."""
    for doc in docs:
        if not isinstance(doc, dict):
            raise ValueError("a step of the way back is no JSON object")
        if not _is_reference(doc):
            _check_step(doc)


def _check_step(doc: Doc) -> None:
    try:
        Step.model_validate(doc)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or "the whole"
        raise ValueError(f"a step of the way back is wrong at {where}: {first['msg']}") from error


def _is_reference(doc: Doc) -> bool:
    return len(doc) == 1 and isinstance(doc.get("step"), str)
