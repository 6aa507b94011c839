"""Writes a procedure whose steps were made from the part map as a file in the house style, to be broken like others."""

import json
from typing import Any

from benchguide.procedure.procedure import Procedure

HEAD = ("benchguide", "id", "title", "device", "revision", "about", "target")


def written_out(procedure: Procedure) -> str:
    """YAML with one row a key, the steps in block style."""
    raw: dict[str, Any] = procedure.model_dump(mode="json", exclude_unset=True)
    raw["benchguide"] = procedure.benchguide
    rows = [f"{key}: {_flow(raw[key])}" for key in HEAD if key in raw]
    rows += [f"{key}: {_flow(value)}" for key, value in raw.items() if key not in (*HEAD, "steps")]
    rows.append("steps:")
    for step in raw["steps"]:
        begin = "  - "
        for key in sorted(step, key=lambda key: key != "id"):
            rows.append(f"{begin}{key}: {_flow(step[key])}")
            begin = "    "
    return "\n".join(rows) + "\n"


def _flow(value: Any) -> str:
    """JSON is YAML; simple words and lists of words stand without quotation marks."""
    if isinstance(value, list) and value and all(isinstance(item, str) for item in value):
        return f"[{', '.join(value)}]" if all("," not in item for item in value) else json.dumps(value)
    return json.dumps(value, ensure_ascii=False)
