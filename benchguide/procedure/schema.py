"""JSON Schema (2020-12) of both kinds of files, so that an editor completes and checks while one writes.

It says what a single value may be. Names that must lead somewhere are for loader.py,
the order of steps is for check.py.
"""

from typing import Any, Literal

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import Procedure

Kind = Literal["device", "procedure"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
KINDS: dict[Kind, tuple[type[DeviceMap] | type[Procedure], str]] = {
    "device": (DeviceMap, "Benchguide part map"),
    "procedure": (Procedure, "Benchguide procedure"),
}


def json_schema(kind: Kind) -> dict[str, Any]:
    """The schema of `*.device.yaml` or `*.procedure.yaml`. Raises KeyError for another kind."""
    model, title = KINDS[kind]
    schema = model.model_json_schema(mode="validation")
    version = schema["properties"]["benchguide"]["const"]
    name, _, number = version.partition("/")
    return {"$schema": DIALECT, "$id": f"urn:benchguide:{name}:{number}", **schema, "title": title}
