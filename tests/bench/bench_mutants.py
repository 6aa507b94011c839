"""How many broken procedures the checker names rightly: `python tests/bench/bench_mutants.py [rounds] [seed]`.

Bars: the right rule at the right line in at least 99 % of several thousand mutants of the bundled procedures, no
error or warning on the unbroken ones, and the findings on orders the same set as the simulator's faults. Baseline
of the same run: what reading the files tells, without following the state of the device. 24 rounds a kind and
procedure make some five thousand mutants in about five minutes of processor time. Exit code 1 when a bar is missed.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.mutants.run import bundles, judge, mutants, sound, table, total_of

BAR = 0.99


def main() -> int:
    """Print the table; 1 when a bar is missed."""
    given = [int(word) for word in sys.argv[1:3]]
    rounds, seed = [*given, *(24, 2026)[len(given) :]]
    begun = time.process_time()
    sources = bundles()
    told = sound(sources)
    found = judge(mutants(seed, rounds, sources))
    total = total_of(found)
    print(table(found))
    right, base = total.line / total.count, total.read / total.count
    print(
        f"\nright rule at the right line: {right:.2%} of {total.count} (bar {BAR:.0%}); reading alone {base:.2%}"
    )
    print(f"told of the {len(sources)} unbroken ones: {len(told)} errors and warnings (bar 0)")
    for line in told:
        print(f"  {line}")
    for mutant, problems in total.misses[:20]:
        print(
            f"missed: {mutant.kind}: {mutant.name}: {mutant.told}: {sorted(mutant.rules)} in line {mutant.line}"
        )
        print(f"  told instead: {[(p.rule, p.line) for p in problems[:5]]}")
    print(f"{time.process_time() - begun:.0f} s of processor time, seed {seed}")
    missed = right < BAR or bool(told) or total.exact < total.orders
    print("a bar is missed" if missed else "all bars kept")
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main())
