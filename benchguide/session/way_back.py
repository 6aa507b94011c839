"""The way back, computed from what really happened: what is out now, in which order it came out, what was done.

Pure: `lay` gives the steps after the way in; laying.py decides when they become a fact. Written refit steps stay
wherever they fit what came off, those of parts that never came off go, generated ones come in for the unplanned,
and the part map has the last word on the order. Checks, waits and tests keep their place behind the
steps they followed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from benchguide.procedure.procedure import Step
from benchguide.procedure.words import REFITS, REMOVALS, Action, PartKind, Stage, WaitKind
from benchguide.session import names
from benchguide.session.state import Mark, State
from benchguide.session.way_back_fit import stale_tests
from benchguide.session.way_back_order import Preds, in_order, mixes_energy, must_precede

RETURN_ONLY = frozenset({Action.WORK, Action.WAIT})


@dataclass(frozen=True, slots=True)
class Item:
    """Steps that stay together on the way back, and what they put back; `place` is where the author put them."""

    steps: tuple[Step, ...]
    place: float
    parts: tuple[str, ...] = ()
    before: frozenset[str] = frozenset()
    """Parts that may go in only after these steps (new adhesive comes before what it holds)."""


def lay(state: State, chosen: str = "") -> tuple[Step, ...]:
    """The steps after the way in: those done or skipped as they came, then all that is still to be done.

    `chosen` names a step that must stay on the route because a person asks for it.
    """
    return _Laying(state, chosen).steps()


@dataclass
class _Laying:
    """One computation; the lists grow in the order of the methods of `steps`."""

    state: State
    chosen: str
    items: list[Item] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    """Names of steps that are on the new way back."""
    covered: set[str] = field(default_factory=set)
    """Parts that some step on the new way back refits."""

    def steps(self) -> tuple[Step, ...]:
        settled = tuple(s for s in self.current if not self._is_open(s.id))
        self.used.update(s.id for s in settled)
        self._written_open()
        self._done_once_more()
        self._still_wanted()
        self._unplanned()
        self._tests_once_more()
        ordered = in_order(self.items, self.preds, split=self._split)
        return (*settled, *(step for item in ordered for step in item.steps))

    # what is known

    @cached_property
    def out(self) -> dict[str, int]:
        """Parts that are out, with when they came out last."""
        return {item.part: turn for turn, item in enumerate(self.state.ledger.out)}

    @cached_property
    def preds(self) -> Preds:
        """What must be in before what."""
        return must_precede(self.state.job.device, self.out)

    @cached_property
    def current(self) -> tuple[Step, ...]:
        return self.state.steps[self.state.job.way_back_at :]

    @cached_property
    def written(self) -> tuple[Step, ...]:
        return self.state.job.steps[self.state.job.way_back_at :]

    @cached_property
    def taken(self) -> set[str]:
        """Names that a new step cannot have."""
        return {*self.state.job.procedure.by_id, *self.state.index, *self.state.marks}

    def _is_open(self, step: str) -> bool:
        return self.state.mark_of(step).mark is Mark.OPEN

    def _pinned(self, step: str) -> bool:
        """True for steps that a person has looked at or asks for: they never vanish."""
        return step == self.chosen or self.state.mark_of(step).entered > 0

    def _free(self, wanted: str) -> str:
        name = names.free(wanted, self.taken)
        self.taken.add(name)
        return name

    # what stays of the written way back

    def _written_open(self) -> None:
        """Open written steps that are still of use. Parts that written removals will take off count as out."""
        expected: set[str] = set()
        for place, step in enumerate(self.written):
            if not self._is_open(step.id):
                continue
            if step.action in REMOVALS:
                expected.update(step.parts)
                self._add(Item((step,), place))
            elif step.action in REFITS:
                parts = tuple(p for p in dict.fromkeys(step.parts) if p in self.out and p not in self.covered)
                later = expected.intersection(step.parts)
                expected -= later
                if parts or later or self._pinned(step.id):
                    self._add_refit(Item((step,), place, parts))
            elif self._pinned(step.id) or self._of_use(step, expected):
                self._add(Item((step,), place))

    def _of_use(self, step: Step, expected: set[str]) -> bool:
        """Return-only work at parts that never came off is none."""
        if step.action not in RETURN_ONLY or not step.parts or step.seals or step.before_seal:
            return True
        if step.lines or step.reading:
            return True
        return any(part in self.state.came_off or part in expected for part in step.parts)

    def _add_refit(self, item: Item) -> None:
        """Add a refit; an energy source is never connected in one step with what must be in before it."""
        mixed = mixes_energy(self.state.job.device, item.parts)
        for one in self._split(item) if mixed else [item]:
            self._add(one)

    def _add(self, item: Item) -> None:
        self.items.append(item)
        self.used.update(step.id for step in item.steps)
        self.covered.update(item.parts)

    # what was done and has to be done once more

    def _done_once_more(self) -> None:
        """Written refits that are done, of parts that are out again, with the work that belongs to them."""
        again = {
            step.id: parts
            for step in self.written
            if step.action in REFITS and not self._is_open(step.id) and (parts := self._uncovered(step))
        }
        wanted = {part for parts in again.values() for part in parts}
        sealed = False
        for place, step in enumerate(self.written):
            if step.id in again:
                sealed = sealed or step.seals
                self._add_refit(Item((self._copy(step, again[step.id]),), place, again[step.id]))
            elif not self._is_open(step.id) and step.action in RETURN_ONLY:
                cures = (
                    sealed and not step.parts and step.wait is not None and step.wait.kind is WaitKind.CURE
                )
                causes = wanted if cures else wanted.intersection(step.parts)
                if causes and not self._done_since(step, causes):
                    self._add(Item((self._copy(step, step.parts),), place))

    def _done_since(self, step: Step, parts: Iterable[str]) -> bool:
        """Whether this work, or a copy of it, was done after these parts came off."""
        done = max(self.state.mark_of(s.id).turn for s in self.current if names.same_step(s.id, step.id))
        return all(item.turn < done for part in parts if (item := self.state.ledger.last_of(part)))

    def _uncovered(self, step: Step) -> tuple[str, ...]:
        parts = tuple(p for p in dict.fromkeys(step.parts) if p in self.out and p not in self.covered)
        self.covered.update(parts)
        return parts

    def _copy(self, step: Step, parts: tuple[str, ...]) -> Step:
        """An open copy of a step under a name of its own; the one laid before, if it is still open."""
        for old in self.current:
            copy = old.id != step.id and names.same_step(old.id, step.id) and self._is_open(old.id)
            if copy and set(parts) <= set(old.parts) and old.id not in self.used:
                return old
        name = names.again(step.id, self.taken)
        self.taken.add(name)
        return step.model_copy(update={"id": name, "parts": parts})

    def _still_wanted(self) -> None:
        """Open steps of the present way back that are written nowhere and are still of use."""
        for place, step in enumerate(self.current):
            if (
                step.id in self.used
                or step.id in self.state.job.procedure.by_id
                or not self._is_open(step.id)
            ):
                continue
            own = any(p in self.out and p not in self.covered for p in step.parts)
            if not own and (self._pinned(step.id) or self._follows_its_part(place, step)):
                self._add(Item((step,), self._place_after(place)))

    def _follows_its_part(self, place: int, step: Step) -> bool:
        """True for tests, and for work to be done after its part went back."""
        if step.action in REFITS:
            return False
        parts = set(step.parts)
        if step.before_seal or not parts:
            return True
        return any(s.action in REFITS and parts.intersection(s.parts) for s in self.current[:place])

    def _place_after(self, place: int) -> float:
        """The written place of the step that an unwritten one of the present way back follows."""
        written = {step.id: i for i, step in enumerate(self.written)}
        before = (written[s.id] for s in reversed(self.current[:place]) if s.id in written)
        return next(before, -1) + 0.5

    # what nobody planned

    def _unplanned(self) -> None:
        """Parts that no written step refits, the one that came out last first."""
        self.items.sort(key=lambda item: item.place)
        for part in sorted(self.out, key=lambda p: -self.out[p]):
            if part not in self.covered:
                at = self._spot(part, self.preds[part])
                self._generate(part, at)

    def _spot(self, part: str, preds: Iterable[str]) -> int:
        """Where in the list a part goes back: behind what came out later, before what came out earlier, and not
        before anything it holds or covers; right behind a refit, so that checks and tests come after it."""
        behind = self._start()
        for i, item in enumerate(self.items[behind:], start=behind):
            if item.parts and max(self.out[p] for p in item.parts) < self.out[part]:
                break
            if item.parts:
                behind = i + 1
        holders = set(preds)
        last = max(
            (i + 1 for i, item in enumerate(self.items) if holders.intersection(item.parts)), default=0
        )
        return max(behind, last)

    def _start(self) -> int:
        """Behind the last removal that is still planned: what is out stays out for it."""
        removals = [i for i, item in enumerate(self.items) if item.steps[0].action in REMOVALS]
        return removals[-1] + 1 if removals else 0

    def _generate(self, part: str, at: int) -> None:
        """Insert the steps of one part at a place of the list."""
        before = self.items[at - 1] if at else None
        place = before.place if before else -1.0
        first, then = self._laid_before(part)
        if not then:
            from benchguide.procedure.part_steps import refit_steps  # not needed to show the window

            stage = before.steps[-1].stage if before and before.steps[-1].stage in LATER else Stage.WAY_BACK
            made = refit_steps(self.state.job.device, part, stage, self._free)
            first, then = made.before, (made.refit, *made.after)
        self._insert(Item(then, place, (part,)), at)
        if first:
            self._insert(Item(first, place, (), self._held_too(part)), at)

    def _held_too(self, part: str) -> frozenset[str]:
        """The part; for a bond also what it holds: new adhesive comes before that."""
        device = self.state.job.device
        bond = device.by_id[part].kind is PartKind.BOND
        return frozenset({part, *(device.needed_by.get(part, ()) if bond else ())})

    def _laid_before(self, part: str) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
        """The open steps of this part alone that were generated earlier: before its refit, and from there on."""
        planned = self.state.job.procedure.by_id
        own = [
            step
            for step in self.current
            if step.parts == (part,)
            and step.id not in planned
            and step.id not in self.used
            and self._is_open(step.id)
        ]
        at = next((i for i, step in enumerate(own) if step.action in REFITS), len(own))
        return tuple(own[:at]), tuple(own[at:])

    def _insert(self, item: Item, at: int) -> None:
        self.items.insert(at, item)
        self.used.update(step.id for step in item.steps)
        self.covered.update(item.parts)

    # tests

    def _tests_once_more(self) -> None:
        """A test before sealing that was done before something came off again is done once more."""
        for step, causes in stale_tests(self.state):
            if any(names.same_step(name, step.id) and self._is_open(name) for name in self.used):
                continue
            place = self._written_place(step)
            after = [i + 1 for i, item in enumerate(self.items) if causes.intersection(item.parts)]
            first = next((i for i, item in enumerate(self.items) if item.place > place), len(self.items))
            self._insert(Item((self._copy(step, step.parts),), place), max([first, *after]))

    def _written_place(self, step: Step) -> float:
        """The place of a written step, or of the one that this step repeats."""
        same = (i for i, s in enumerate(self.written) if names.same_step(s.id, step.id))
        return next(same, len(self.written))

    def _split(self, item: Item) -> list[Item]:
        """A step that refits several parts, as one step for each: together they cannot go in."""
        step, *rest = item.steps
        if len(item.parts) < 2 or self._pinned(step.id):
            return [item]
        first = step.model_copy(update={"parts": (item.parts[0],)})
        made = [Item((first,), item.place, item.parts[:1], item.before)]
        for part in item.parts[1:]:
            made.append(Item((self._single(step, part),), item.place, (part,), item.before))
        made[-1] = Item((*made[-1].steps, *rest), item.place, made[-1].parts, item.before)
        return made

    def _single(self, step: Step, part: str) -> Step:
        """A copy of a step for one of its parts; the one laid before, if it is still open."""
        wanted = f"{names.root(step.id)}-{part}"
        for old in self.current:
            if old.parts == (part,) and old.id.startswith(wanted) and self._is_open(old.id):
                return old
        return step.model_copy(update={"id": self._free(wanted), "parts": (part,)})


#: stages of generated steps, taken from the step before them
LATER = (Stage.WAY_BACK, Stage.SEAL)


def told(state: State, steps: Sequence[Step]) -> str:
    """Why the way back is as it is, in one sentence: what was dropped, added, or done once more."""
    written = {s.id: s for s in state.job.steps[state.job.way_back_at :]}
    now = {s.id for s in steps}
    dropped = [s for s in written.values() if s.action in REFITS and s.id not in now]
    added = [
        s
        for s in steps
        if s.id not in written and s.action in REFITS and state.mark_of(s.id).mark is Mark.OPEN
    ]
    words = [_named(state, "not needed", dropped), _named(state, "added", added)]
    return "; ".join(word for word in words if word) or "as planned"


def _named(state: State, word: str, steps: Sequence[Step]) -> str:
    by_id: Mapping[str, object] = state.job.device.by_id
    parts = dict.fromkeys(p for s in steps for p in s.parts if p in by_id)
    return f"{word}: {', '.join(state.job.device.by_id[p].name for p in parts)}" if parts else ""
