"""Kills a working session a thousand times at random instants and looks for everything it had shown.

    python tests/bench/bench_kills.py [HOW_MANY]

The baseline of the same run is a log that is saved every ten entries, as a program with a Save key would do: it
shows first and stores later, and loses what was shown.
"""

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "store")]

from kill_trial import bundled_job, run_trial  # noqa: E402


def main() -> int:
    """Run the trials; exit code 1 when anything shown was lost."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    job = bundled_job(ROOT)
    baseline = max(10, wanted // 20)
    events = photos = silent = 0
    lost: list[str] = []
    spent: list[float] = []
    folder = Path(tempfile.mkdtemp(prefix="benchguide-kills-"))
    for seed in range(wanted):
        if seed % 100 == 0:
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
        began = time.perf_counter()
        shown, kept, wrong = run_trial(folder, job, seed)
        spent.append(time.perf_counter() - began)
        events, photos, silent = events + shown, photos + kept, silent + (shown == 0)
        lost += [f"kill {seed}: {sentence}" for sentence in wrong]
    losing = 0
    for seed in range(baseline):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        losing += bool(run_trial(folder, job, seed, late=True)[2])
    shutil.rmtree(folder, ignore_errors=True)
    print(f"kills                      {wanted}")
    print(f"  of them before anything was shown  {silent}")
    print(f"events shown               {events}")
    print(f"photos kept                {photos}")
    print(f"median time of a trial     {statistics.median(spent):.3f} s")
    print("bar: lost or broken        0")
    print(f"lost or broken             {len(lost)}")
    print(f"baseline (saved now and then): {losing} of {baseline} kills lost something that was shown")
    for sentence in lost[:20]:
        print("  " + sentence)
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
