"""The JSON Schemas are valid 2020-12, accept every bundled file and refuse what the loader refuses."""

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from benchguide.procedure.schema import KINDS, json_schema
from tests.procedure.conftest import DEVICE, PROCEDURE, edited

BUNDLED = sorted((Path(__file__).parents[2] / "procedures").rglob("*.yaml"))


def tree(text: str) -> object:
    return YAML(typ="safe").load(text)


@pytest.mark.parametrize("kind", KINDS)
def test_the_schema_itself_is_valid(kind):
    schema = json_schema(kind)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"].endswith("2020-12/schema")
    assert json.loads(json.dumps(schema)) == schema


@pytest.mark.parametrize("kind", KINDS)
def test_an_editor_finds_a_title_and_a_description(kind):
    schema = json_schema(kind)
    assert schema["title"].startswith("Benchguide")
    assert schema["description"]
    assert all(
        "title" in value or "$ref" in value or "anyOf" in value for value in schema["properties"].values()
    )
    assert schema["properties"]["benchguide"]["description"]
    assert schema["properties"]["benchguide"]["const"] == f"{kind}/1"
    group, key = ("Part", "held_by") if kind == "device" else ("Step", "text")
    assert schema["$defs"][group]["properties"][key]["description"]


@pytest.mark.parametrize("path", BUNDLED, ids=lambda path: path.name)
def test_bundled_files_follow_their_schema(path):
    kind = "device" if path.name.endswith(".device.yaml") else "procedure"
    validator = Draft202012Validator(json_schema(kind))
    assert [error.message for error in validator.iter_errors(tree(path.read_text("utf-8")))] == []


@pytest.mark.parametrize(
    ("kind", "text", "edit"),
    [
        ("device", DEVICE, ("kind: loose", "kind: lose")),
        ("device", DEVICE, ("count: 4", "count: -4")),
        ("device", DEVICE, ("name: Foam strip", "nmae: Foam strip")),
        ("device", DEVICE, ("device/1", "device/2")),
        ("device", DEVICE, ("- id: foam", "- id: Foam")),
        ("procedure", PROCEDURE, ("stage: swap", "stage: swop")),
        ("procedure", PROCEDURE, ("time_s: [20, 40]}", "time_s: [20]}")),
        ("procedure", PROCEDURE, ("title: Replace the knob\n", "")),
    ],
)
def test_wrong_files_are_refused(kind, text, edit):
    validator = Draft202012Validator(json_schema(kind))
    assert validator.is_valid(tree(text))
    assert not validator.is_valid(tree(edited(text, edit)))
