"""Energy in a session: which isolators are still in, which measurements that prove a discharge are missing.

Reads the state; bars nothing (gates_part.py does).
"""

from collections.abc import Iterator

from benchguide.procedure.device import Part
from benchguide.procedure.procedure import Step
from benchguide.procedure.words import Action, Stage, WaitKind
from benchguide.session.state import Mark, State


def live_isolators(state: State) -> tuple[Part, ...]:
    """Connectors that isolate an energy source and are still in."""
    return tuple(part for part in state.job.device.isolators if state.in_device(part.id) > 0)


def unproven(state: State, step: Step) -> tuple[Step, ...]:
    """Readings on the way in that prove a source to be dead, stand before this step, and have not been done.
    Skipping one proves nothing."""
    until = state.index.get(step.id, 0)
    return tuple(s for s in proofs(state) if state.index[s.id] < until and _open(state, s))


def proofs(state: State) -> Iterator[Step]:
    """Steps of the way in that measure an energy source: after a discharge time, or at an isolator or source."""
    sources = state.job.energy_parts
    after_discharge = False
    for step in state.steps:
        if step.wait and step.wait.kind is WaitKind.DISCHARGE:
            after_discharge = True
        measures = step.action is Action.READ and step.stage is Stage.WAY_IN
        if measures and (after_discharge or any(p in sources for p in step.parts)):
            yield step


def _open(state: State, step: Step) -> bool:
    return state.mark_of(step.id).mark is not Mark.DONE
