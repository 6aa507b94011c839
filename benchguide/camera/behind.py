"""For threads whose answer may come a moment later: they let everything else of the program go first.

Only Linux counts niceness by thread; elsewhere nothing happens. Such a thread must spend its time inside OpenCV, which
lets go of the interpreter: one that held it while it waits for a processor would hold up the window.
"""

import os
import sys
import threading
from contextlib import suppress

#: niceness, 0 to 19
BEHIND = 10


def step_aside() -> None:
    """Called once in such a thread; threads it starts later begin as nice as it is."""
    if sys.platform == "linux":
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), BEHIND)
