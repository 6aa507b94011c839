"""Reading a foot switch from its own device file, whichever window has the focus and even with the screen locked.

Linux only, and only where the person may read the device (`udev_rule` gives the line an administrator adds). What a
press means is not known here.
"""

from __future__ import annotations

import errno
import os
import struct
from pathlib import Path

from PySide6.QtCore import QObject, QSocketNotifier, QTimer, Signal

#: struct input_event of linux/input.h: seconds, microseconds (native long), type, code, value
EVENT = struct.Struct("@llHHi")
EV_KEY = 1
RELEASED, PRESSED = 0, 1
#: where the system names input devices after what is plugged in, the same after every start
BY_ID = Path("/dev/input/by-id")
REOPEN_MS = 1000


def devices(folder: Path = BY_ID) -> tuple[Path, ...]:
    """Keyboards and switches that are plugged in, by name. Empty where the system names none."""
    try:
        return tuple(sorted(path for path in folder.iterdir() if path.name.endswith("-kbd")))
    except OSError:
        return ()


def udev_rule(vendor: str, product: str) -> str:
    """The line for /etc/udev/rules.d that lets the person at the screen read one kind of switch.

    vendor, product: four hexadecimal digits each, as lsusb prints them. Raises ValueError for anything else.
    """
    for digits in (vendor, product):
        if len(digits) != 4 or any(c not in "0123456789abcdefABCDEF" for c in digits):
            raise ValueError(f"{digits!r} is no number of a USB device; give four hexadecimal digits.")
    return (
        f'SUBSYSTEM=="input", ATTRS{{idVendor}}=="{vendor.lower()}", ATTRS{{idProduct}}=="{product.lower()}", '
        'TAG+="uaccess"'
    )


class SwitchDevice(QObject):
    """Follows one device file. Opens it again when the switch was unplugged and plugged in.

    `key` is emitted with (code, True for down) for every change; repeats by the device are left out.
    """

    key = Signal(int, bool)
    state_changed = Signal(bool, str)
    """Whether the device is heard, and one sentence."""

    def __init__(self, path: Path, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.path = path
        self._file: int | None = None
        self._rest = b""
        self._notifier: QSocketNotifier | None = None
        self._told: tuple[bool, str] | None = None
        self._again = QTimer(self, interval=REOPEN_MS)
        self._again.timeout.connect(self._try_open)

    @property
    def heard(self) -> bool:
        """True while the device is open."""
        return self._file is not None

    def start(self) -> None:
        """Open the device now, and go on trying while it cannot be opened."""
        self._again.start()
        self._try_open()

    def stop(self) -> None:
        """Let go of the device."""
        self._again.stop()
        self._close()

    def _try_open(self) -> None:
        if self._file is not None:
            return
        try:
            self._file = os.open(self.path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as error:
            self._tell(False, _why(self.path, error))
            return
        self._rest = b""
        self._notifier = QSocketNotifier(self._file, QSocketNotifier.Type.Read, self)
        self._notifier.activated.connect(self._read)
        self._tell(True, f"The switch {self.path.name} is heard, whichever window has the focus.")

    def _read(self) -> None:
        if self._file is None:
            return
        try:
            data = os.read(self._file, 64 * EVENT.size)
        except BlockingIOError:
            return
        except OSError as error:
            self._close()
            self._tell(False, _why(self.path, error))
            return
        if not data:
            self._close()
            self._tell(False, f"The switch {self.path.name} was unplugged; plug it in again.")
            return
        data = self._rest + data
        whole = len(data) - len(data) % EVENT.size
        self._rest = data[whole:]
        for _, _, kind, code, value in EVENT.iter_unpack(data[:whole]):
            if kind == EV_KEY and value in (RELEASED, PRESSED):
                self.key.emit(code, value == PRESSED)

    def _close(self) -> None:
        if self._notifier is not None:
            self._notifier.setEnabled(False)
            self._notifier.deleteLater()
            self._notifier = None
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _tell(self, heard: bool, sentence: str) -> None:
        if self._told != (heard, sentence):
            self._told = (heard, sentence)
            self.state_changed.emit(heard, sentence)


def _why(path: Path, error: OSError) -> str:
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"The switch {path.name} may not be read; 'benchguide preflight' prints the rule an administrator adds."
    if error.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return f"The switch {path.name} is not plugged in."
    return f"The switch {path.name} cannot be read ({error.strerror}); unplug it and plug it in again."
