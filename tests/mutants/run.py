"""Makes mutants of the bundled procedures, asks the checker, and counts what it named rightly."""

import random
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from benchguide.procedure.check import check
from benchguide.procedure.device import DeviceMap
from benchguide.procedure.loader import Loaded, load_device_text, load_procedure_text
from benchguide.procedure.problems import BadFile, Problem
from tests.mutants.bundle import RULE, Bundle, Mutant, Mutator
from tests.mutants.care_kinds import CARE_KINDS
from tests.mutants.map_kinds import MAP_KINDS
from tests.mutants.order_kinds import ORDER_KINDS
from tests.mutants.words_kinds import WORDS_KINDS
from tests.mutants.written import written_out

BUNDLED = Path(__file__).parents[2] / "procedures"
KINDS: tuple[Mutator, ...] = (*ORDER_KINDS, *CARE_KINDS, *WORDS_KINDS, *MAP_KINDS)
JOB, DEVICE = Path("job.procedure.yaml"), Path("job.device.yaml")


def bundles() -> list[Bundle]:
    """Every bundled procedure with its part map; one that names only its target is written out first."""
    maps = {path.name.removesuffix(".device.yaml"): path for path in sorted(BUNDLED.rglob("*.device.yaml"))}
    texts = {name: path.read_text("utf-8") for name, path in maps.items()}
    models = {name: load_device_text(text, maps[name]).model for name, text in texts.items()}
    found = []
    for path in sorted(BUNDLED.rglob("*.procedure.yaml")):
        loaded = load_procedure_text(path.read_text("utf-8"), path, models)
        text = path.read_text("utf-8") if loaded.generated is None else written_out(loaded.model)
        found.append(Bundle(path.name.removesuffix(".procedure.yaml"), text, texts[loaded.model.device]))
    return found


def mutants(
    seed: int, rounds: int, sources: list[Bundle], kinds: Iterable[Mutator] = KINDS
) -> Iterator[Mutant]:
    """`rounds` mutants of each kind and procedure, as far as the procedure has what can be broken, none twice."""
    for bundle in sources:
        for kind in kinds:
            dice = random.Random(f"{seed} {bundle.name} {kind.__name__}")
            seen: set[tuple[str, str]] = set()
            for _ in range(rounds * 6):
                made = kind(bundle, dice) if len(seen) < rounds else None
                if made is not None and (made.job, made.device) not in seen:
                    seen.add((made.job, made.device))
                    yield made


class Judge:
    """The checker as a person meets it: what the loader refuses, else what the rules find."""

    def __init__(self) -> None:
        self._maps: dict[str, Loaded[DeviceMap] | list[Problem]] = {}

    def _map(self, text: str) -> Loaded[DeviceMap] | list[Problem]:
        if text not in self._maps:
            if len(self._maps) > 20:
                self._maps.clear()
            try:
                self._maps[text] = load_device_text(text, DEVICE)
            except BadFile as bad:
                self._maps[text] = list(bad.problems)
        return self._maps[text]

    def _read(self, job: str, device: str) -> tuple[list[Problem], object]:
        loaded = self._map(device)
        if isinstance(loaded, list):
            return loaded, None
        try:
            return [], (loaded, load_procedure_text(job, JOB, {loaded.model.id: loaded.model}))
        except BadFile as bad:
            return list(bad.problems), None

    def check(self, job: str, device: str) -> tuple[list[Problem], bool]:
        """Everything that is told, and whether reading alone told it."""
        problems, files = self._read(job, device)
        if files is None:
            return problems, True
        return check(*files), False  # type: ignore[misc]


@dataclass
class Tally:
    """Of one kind of mutant."""

    count: int = 0
    rule: int = 0
    line: int = 0
    read: int = 0
    orders: int = 0
    exact: int = 0
    misses: list[tuple[Mutant, list[Problem]]] = field(default_factory=list)


def judge(made: Iterable[Mutant]) -> dict[str, Tally]:
    """How often the right rule was named, and how often at the right line; by kind."""
    ask = Judge()
    found: dict[str, Tally] = defaultdict(Tally)
    for mutant in made:
        tally = found[mutant.kind]
        problems, by_reading = ask.check(mutant.job, mutant.device)
        file = str(DEVICE if mutant.in_map else JOB)
        mine = [p for p in problems if p.rule in mutant.rules]
        at_line = any(p.line == mutant.line and p.file == file for p in mine)
        tally.count += 1
        tally.rule += bool(mine)
        tally.line += at_line
        tally.read += at_line and by_reading
        if mutant.exact is not None:
            told = {(p.rule, p.line) for p in problems if p.rule in RULE.values()}
            tally.orders += 1
            tally.exact += told == mutant.exact
        if not at_line:
            tally.misses.append((mutant, problems))
    return dict(found)


def sound(sources: list[Bundle]) -> list[str]:
    """What the checker says of the unbroken ones, advice left out; ought to be nothing."""
    ask = Judge()
    return [
        f"{bundle.name}: {problem.rule}: {problem}"
        for bundle in sources
        for problem in ask.check(bundle.job_text, bundle.device_text)[0]
        if problem.severity != "advice"
    ]


def table(found: dict[str, Tally]) -> str:
    """A line a kind: how many, right rule, right rule at the right line, told by reading alone."""
    rows = [f"{'kind of fault':<48} {'mutants':>7} {'right rule':>10} {'and line':>9} {'reading alone':>13}"]
    for kind, tally in found.items():
        shares = (tally.rule / tally.count, tally.line / tally.count, tally.read / tally.count)
        rows.append(f"{kind:<48} {tally.count:>7} {shares[0]:>10.1%} {shares[1]:>9.1%} {shares[2]:>13.1%}")
    total = total_of(found)
    shares = (total.rule / total.count, total.line / total.count, total.read / total.count)
    rows.append(f"{'all':<48} {total.count:>7} {shares[0]:>10.2%} {shares[1]:>9.2%} {shares[2]:>13.2%}")
    if total.orders:
        rows.append(
            f"orders: findings and simulated faults are the same set in {total.exact} of {total.orders}"
        )
    return "\n".join(rows)


def total_of(found: dict[str, Tally]) -> Tally:
    """All kinds together."""
    total = Tally()
    for tally in found.values():
        for key in ("count", "rule", "line", "read", "orders", "exact"):
            setattr(total, key, getattr(total, key) + getattr(tally, key))
        total.misses += tally.misses
    return total


__all__ = ["KINDS", "Judge", "Tally", "bundles", "judge", "mutants", "sound", "table", "total_of"]
