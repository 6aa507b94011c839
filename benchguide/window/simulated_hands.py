"""What lies before the simulated camera: the device as the ledger says, and what simulated hands do to it.

They refit the parts of a step before its as-left photo is taken. For the demo they also err: a cable laid otherwise,
a lamp that glares, a stand that shakes.
"""

from __future__ import annotations

from dataclasses import replace

from benchguide.camera.simulated import Disturbance, Point, Scene
from benchguide.procedure.procedure import Step
from benchguide.session.state import State
from benchguide.window.scene import face_of, scene_of, with_refitted

#: what is seen before any job is on the bench
BARE = Scene(150, 90, 6, ())


class SimulatedHands:
    """`seen` is asked for by the camera's thread, everything else by the window's; scenes are replaced as a whole."""

    def __init__(self) -> None:
        self._scene = BARE
        self._state: State | None = None
        self._refitted = ""
        self._disturbed = Disturbance()
        self._astray: dict[str, tuple[Point, ...]] = {}

    def seen(self) -> Scene:
        """What the camera sees now."""
        return self._scene

    def follow(self, state: State) -> None:
        """The session went on. What was refitted ahead of its command stays so while its step is at hand."""
        self._state = state
        if state.step.id != self._refitted:
            self._refitted = ""
        self._lay()

    def refit(self, state: State, step: Step) -> None:
        """Put the parts of this step back: its as-left photo is about to be taken."""
        self._state, self._refitted = state, step.id
        self._lay(step)

    def disturb(self, disturbed: Disturbance) -> None:
        """Shake the camera or let the lamp glare from now on; `Disturbance()` ends it."""
        self._disturbed = disturbed
        self._lay()

    def lead_astray(self, cables: dict[str, tuple[Point, ...]]) -> None:
        """Lay the cables of these parts along other points, in millimetres; an empty dict lays them right again."""
        self._astray = dict(cables)
        self._lay()

    def _lay(self, step: Step | None = None) -> None:
        state = self._state
        if state is None:
            return
        device = state.job.device
        ledger = state.ledger
        if self._refitted:
            step = step or state.step_of(self._refitted) or state.step
            ledger = with_refitted(ledger, step)
        scene = scene_of(device, ledger, face_of(device, step or state.step))
        moved = {f"{part}-cable": points for part, points in self._astray.items()}
        shapes = tuple(
            replace(shape, outline=moved[shape.id]) if shape.id in moved else shape for shape in scene.shapes
        )
        self._scene = replace(scene, shapes=shapes, disturbed=self._disturbed)
