"""The simulated hands: parts refitted ahead of the command stay refitted, cables go astray, pictures are spoilt."""

from dataclasses import replace
from pathlib import Path

from benchguide.camera.simulated import Disturbance, Scene
from benchguide.procedure.shelf import Shelf
from benchguide.session.ledger import Ledger, take_off
from benchguide.session.state import Job, State
from benchguide.window.simulated_hands import SimulatedHands

SHELF = Shelf([Path(__file__).parents[2] / "procedures"])


def at(step: str, *out: str) -> State:
    """The demo job at one step, with these parts out."""
    entry = SHELF.procedure("gloamreed-tuning-wheel")
    assert entry is not None
    assert entry.device is not None
    assert entry.loaded is not None
    device = entry.device.model
    state = State(Job(device, entry.loaded.model))
    ledger = Ledger()
    for part in out:
        ledger = take_off(ledger, part, device.by_id[part].pieces, "", "")
    here = next(place for place, each in enumerate(state.steps) if each.id == step)
    return replace(state, ledger=ledger, here=here)


def drawn(scene: Scene) -> set[str]:
    return {shape.id for shape in scene.shapes}


def test_what_was_refitted_for_its_photo_stays_while_its_step_is_at_hand() -> None:
    """A comparison of an earlier photo that comes in meanwhile must not take the cover off again."""
    hands, state = SimulatedHands(), at("seal-back-cover", "back-cover")
    hands.follow(state)
    assert "back-cover" not in drawn(hands.seen())
    hands.refit(state, state.step)
    assert "back-cover" in drawn(hands.seen())
    hands.follow(replace(state, differences={("back-cell-plug", 1): "mended"}))
    assert "back-cover" in drawn(hands.seen())
    hands.follow(at("back-plug-plate", "back-cover"))
    assert "back-cover" not in drawn(hands.seen())


def test_a_cable_goes_astray_and_is_laid_right_again() -> None:
    hands = SimulatedHands()
    hands.follow(at("back-coax-clamp"))
    right = hands.seen()
    other = ((21.0, 27.1), (11.0, 19.0), (10.0, 31.0))
    hands.lead_astray({"coax-rear": other})
    changed = [new for old, new in zip(right.shapes, hands.seen().shapes, strict=True) if old != new]
    assert [(shape.id, shape.outline) for shape in changed] == [("coax-rear-cable", other)]
    hands.lead_astray({})
    assert hands.seen() == right


def test_a_disturbance_spoils_the_picture_and_not_the_scene() -> None:
    hands = SimulatedHands()
    hands.follow(at("back-coax-clamp"))
    before = hands.seen()
    hands.disturb(Disturbance(shaken_px=20))
    assert hands.seen() == before
    assert hands.seen().disturbed.shaken_px == 20
    hands.disturb(Disturbance())
    assert hands.seen().disturbed == Disturbance()
