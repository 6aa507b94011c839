"""One small sound device and job for the tests of this folder, to be broken in one place at a time."""

from pathlib import Path

import pytest

from benchguide.procedure.check import check
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded, load_device_text, load_procedure_text
from benchguide.procedure.problems import Problem
from benchguide.procedure.procedure import Procedure

DEVICE = """\
benchguide: device/1
id: dimmer
name: Dimmer for a reading lamp
about: A small battery lamp dimmer that does not exist.
outline: {width_mm: 80, height_mm: 50}
tools:
  - {id: driver, name: Screwdriver cross PH00}
  - {id: lever, name: Blunt plastic lever}
  - {id: warmer, name: Warming pad with thermostat}
parts:
  - id: case-screws
    kind: screws
    name: Case screws
    screws: {count: 4, drive: cross PH00, thread: M2, length_mm: 6, depth_mm: 6.5}
    places: [[3, 3], [77, 3], [3, 47], [77, 47]]
    cell: A1
    tool: driver
    off_text: Take out the four case screws.
    key_point: All four are 6 mm long.
    off_s: [20, 60]
    on_s: [20, 60]
  - id: case-bond
    kind: bond
    name: Adhesive of the lid
    path: [[2, 2], [78, 2]]
    once: true
    off_s: [60, 180]
  - id: lid
    kind: cover
    name: Lid
    held_by: [case-screws, case-bond]
    box: [0, 0, 80, 50]
  - id: cell-plug
    kind: connector
    name: Plug of the cell
    under: [lid]
    isolates: [main-cell]
    places: [[20, 10]]
  - id: lamp-cable
    kind: connector
    name: Lamp cable
    under: [lid]
    serves: [lamp]
    places: [[60, 10]]
  - id: board-screws
    kind: screws
    name: Board screws
    under: [lid]
    screws: {count: 2, drive: cross PH00, thread: M2, length_mm: 4, depth_mm: 4.5}
    cell: A2
    tool: driver
  - id: board
    kind: module
    name: Board
    under: [lid]
    held_by: [board-screws, cell-plug, lamp-cable]
  - id: foam
    kind: loose
    name: Foam strip
    under: [board]
  - id: main-cell
    kind: cell
    name: Cell
    held_by: [foam, cell-plug]
    box: [10, 20, 30, 20]
    limit_c: 60
  - id: knob-screws
    kind: screws
    name: Knob screws
    under: [board]
    screws: {count: 2, drive: cross PH00, thread: M1.6, length_mm: 3}
    cell: A3
    tool: driver
  - id: knob
    kind: module
    name: Knob
    held_by: [knob-screws]
"""

PROCEDURE = """\
benchguide: procedure/1
id: dimmer-knob
title: Replace the knob
device: dimmer
about: For knobs that crackle.
target: knob
tools: [driver, lever, warmer]
steps:
  - {id: prep, stage: preparation, action: check, text: Look at the case., time_s: [20, 40]}
  - id: warm
    stage: way-in
    action: wait
    text: Lay the warming pad on the lid.
    parts: [case-bond]
    tool: warmer
    cautions:
      - {word: WARNING, text: Keep the pad below 60 degrees. A hot cell can burn.}
    wait: {kind: heat, for_s: 120, limit_c: 55}
    time_s: [5, 20]
  - {id: touch, stage: way-in, action: check, text: Touch the lid briefly., time_s: [5, 10]}
  - {id: off-case-screws, stage: way-in, action: off, parts: [case-screws], text: Take out the four screws.}
  - {id: off-case-bond, stage: way-in, action: off, parts: [case-bond], text: Cut the adhesive., tool: lever, time_s: [60, 180]}
  - {id: lift-lid, stage: way-in, action: lift, parts: [lid], text: Lift the lid., time_s: [5, 9]}
  - {id: open-cell-plug, stage: way-in, action: open, parts: [cell-plug], text: Open it., time_s: [5, 9]}
  - {id: open-lamp, stage: way-in, action: open, parts: [lamp-cable], text: Open it., time_s: [5, 9]}
  - {id: off-board-screws, stage: way-in, action: off, parts: [board-screws], text: Undo., time_s: [9, 20]}
  - {id: lift-board, stage: way-in, action: lift, parts: [board], text: Lift the board., time_s: [5, 9]}
  - {id: off-foam, stage: way-in, action: off, parts: [foam], text: Take it out., time_s: [5, 9]}
  - id: lift-cell
    stage: way-in
    action: lift
    parts: [main-cell]
    text: Lift the cell out.
    cautions:
      - {word: WARNING, text: Do not bend it. A bent cell can burn.}
    time_s: [5, 9]
  - {id: off-knob-screws, stage: way-in, action: off, parts: [knob-screws], text: Undo., time_s: [9, 20]}
  - {id: lift-knob, stage: way-in, action: lift, parts: [knob], text: Lift the old knob., time_s: [5, 9]}
  - {id: compare, stage: swap, action: work, text: Compare both knobs., time_s: [5, 9]}
  - {id: fit-knob, stage: way-back, action: fit, parts: [knob], text: Fit the new knob., time_s: [5, 9]}
  - {id: on-knob-screws, stage: way-back, action: 'on', parts: [knob-screws], text: Drive., time_s: [9, 20]}
  - {id: fit-cell, stage: way-back, action: fit, parts: [main-cell], text: Lay the cell in., time_s: [5, 9]}
  - {id: on-foam, stage: way-back, action: 'on', parts: [foam], text: Lay the foam in., time_s: [5, 9]}
  - {id: fit-board, stage: way-back, action: fit, parts: [board], text: Fit the board., time_s: [5, 9]}
  - {id: on-board-screws, stage: way-back, action: 'on', parts: [board-screws], text: Drive., time_s: [9, 20]}
  - {id: close-lamp, stage: way-back, action: close, parts: [lamp-cable], text: Close it., time_s: [5, 9]}
  - {id: close-cell-plug, stage: way-back, action: close, parts: [cell-plug], text: Close it., time_s: [5, 9]}
  - id: try
    stage: test
    action: check
    text: Try the lamp.
    before_seal: true
    lines:
      - {id: lamp, text: The lamp lights., serves: lamp}
    time_s: [20, 40]
  - {id: fit-lid, stage: seal, action: fit, parts: [lid], text: Fit the lid., time_s: [5, 9]}
  - id: seal
    stage: seal
    action: 'on'
    parts: [case-bond]
    text: Press the lid down.
    seals: true
    time_s: [20, 40]
  - {id: on-case-screws, stage: seal, action: 'on', parts: [case-screws], text: Drive the four screws.}
  - {id: done, stage: close-out, action: check, text: Wipe the case., time_s: [5, 9]}
"""  # noqa: E501


def line_of(text: str, marker: str) -> int:
    """The number of the one line that holds `marker`."""
    lines = [number for number, line in enumerate(text.splitlines(), start=1) if marker in line]
    assert len(lines) == 1, f"{marker!r} stands in lines {lines}"
    return lines[0]


def edited(text: str, *edits: tuple[str, str]) -> str:
    """The text with each edit made once; an edit that does not apply is a broken test."""
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return text


class Sample:
    """The sound device and job, and the same broken."""

    device = DEVICE
    procedure = PROCEDURE

    line_of = staticmethod(line_of)
    edited = staticmethod(edited)

    def load_device(self, *edits: tuple[str, str]) -> Loaded[DeviceMap]:
        return load_device_text(edited(DEVICE, *edits), Path("dimmer.device.yaml"))

    def load_procedure(self, *edits: tuple[str, str]) -> Loaded[Procedure]:
        devices = {"dimmer": self.load_device().model}
        return load_procedure_text(edited(PROCEDURE, *edits), Path("knob.procedure.yaml"), devices)

    def check_texts(self, device: str, procedure: str) -> list[Problem]:
        loaded = load_device_text(device, Path("dimmer.device.yaml"))
        job = load_procedure_text(procedure, Path("knob.procedure.yaml"), {"dimmer": loaded.model})
        return check(loaded, job)


@pytest.fixture
def sample() -> Sample:
    return Sample()
