"""Guards against a release of PySide6 that loses a reference to True at every signal.

PySide6 6.12.0 on Python 3.11 takes one reference too many from the object True at each Signal.emit. After
a few hundred emits its count reaches zero and the interpreter aborts ("deallocating True"). Measured with
that release; 6.11 does not do it. pyproject.toml excludes 6.12.0; this test keeps any other release with
the same defect from coming in through the lock.

The emits run in a process of their own, so that a bad release fails a test instead of ending the test run.
From Python 3.12 on True is immortal (PEP 683) and its count never moves, so a slot's argument is
counted as well.
"""

import subprocess
import sys

EMITS = 2000

CODE = f"""
import sys
from PySide6.QtCore import QObject, Signal

class Sender(QObject):
    flagged = Signal(bool)
    carried = Signal(object)

class Thing:
    pass

heard = []
sender, thing = Sender(), Thing()
sender.flagged.connect(lambda flag: heard.append(1))
sender.carried.connect(lambda value: heard.append(1))
sender.flagged.emit(True)
sender.carried.emit(thing)
before = sys.getrefcount(True), sys.getrefcount(thing)
for _ in range({EMITS}):
    sender.flagged.emit(True)
    sender.carried.emit(thing)
after = sys.getrefcount(True), sys.getrefcount(thing)
print(len(heard), after[0] - before[0], after[1] - before[1])
"""


def test_signals_leave_the_reference_counts_alone() -> None:
    done = subprocess.run(
        [sys.executable, "-c", CODE], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, f"the interpreter ended with {done.returncode}: {done.stderr[-500:]}"
    heard, drift_of_true, drift_of_argument = map(int, done.stdout.split())
    assert heard == 2 * EMITS + 2
    # A handful comes and goes with caches; one a signal would be 2,000 or more.
    assert abs(drift_of_true) < 20
    assert abs(drift_of_argument) < 20
