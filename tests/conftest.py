"""Settings needed before any test module imports Qt. Fixtures belong to the rooms' own folders."""

import os

# Tests need no screen. Set here and not in a fixture: Qt reads it once, at the first QGuiApplication.
# A developer who wants to watch sets QT_QPA_PLATFORM=xcb.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
