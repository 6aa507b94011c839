"""Keeps the screen awake while a session is open, and lets it sleep again after. Linux desktops only, over D-Bus.

Asks the screen saver of the desktop, else the session manager (login1). Elsewhere it says that nothing is kept awake.
The request hangs on a connection of its own: hanging up ends it, and so does the end of the program, however it ends.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtDBus import QDBusConnection, QDBusMessage, QDBusPendingCallWatcher, QDBusUnixFileDescriptor

#: service, path, interface: the screen saver's interface of the freedesktop.org desktops
SAVER = ("org.freedesktop.ScreenSaver", "/org/freedesktop/ScreenSaver", "org.freedesktop.ScreenSaver")
#: the inhibitor locks of systemd-logind
LOGIN = ("org.freedesktop.login1", "/org/freedesktop/login1", "org.freedesktop.login1.Manager")
ANSWER_MS = 3000
Answered = Callable[[object], None]
WHY = "A job is on the bench"


class Awake(QObject):
    """`hold` and `release`; both return at once. `state_changed` tells what came of it."""

    state_changed = Signal(bool, str)
    """Whether the screen is kept awake, and one sentence."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._wanted = False
        self._bus: QDBusConnection | None = None
        self._name = f"benchguide-awake-{id(self)}"
        self._lock: QDBusUnixFileDescriptor | None = None
        self._watchers: list[QDBusPendingCallWatcher] = []
        self.held, self.sentence = False, "The screen may sleep."

    def hold(self) -> None:
        """A session is open."""
        if self._wanted:
            return
        self._wanted = True
        if sys.platform != "linux":
            self._tell(
                False, "On this system the screen is not kept awake; set its time in the system's settings."
            )
            return
        # without an address Qt would start a bus of its own and block for it
        if not os.environ.get("DBUS_SESSION_BUS_ADDRESS"):
            self._ask_login()
            return
        self._bus = QDBusConnection.connectToBus(QDBusConnection.BusType.SessionBus, self._name)
        if not self._bus.isConnected():
            self._hang_up()
            self._ask_login()
            return
        message = QDBusMessage.createMethodCall(*SAVER, "Inhibit")
        message.setArguments(["Benchguide", WHY])
        self._call(self._bus, message, self._saver_answered)

    def release(self) -> None:
        """No session is open any more."""
        self._wanted = False
        self._hang_up()
        self._lock = None
        self._tell(False, "The screen may sleep.")

    def _hang_up(self) -> None:
        # UnInhibit wants an unsigned number, which PySide6 cannot send; a client that leaves the bus is let go too
        if self._bus is not None:
            self._bus = None
            QDBusConnection.disconnectFromBus(self._name)

    def _call(self, bus: QDBusConnection, message: QDBusMessage, answered: Answered) -> None:
        watcher = QDBusPendingCallWatcher(bus.asyncCall(message, ANSWER_MS), self)
        self._watchers.append(watcher)

        def finished(done: QDBusPendingCallWatcher) -> None:
            self._watchers.remove(watcher)
            reply = done.reply()
            failed = reply.type() != QDBusMessage.MessageType.ReplyMessage
            answered(None if failed or not reply.arguments() else reply.arguments()[0])
            done.deleteLater()

        watcher.finished.connect(finished)

    def _saver_answered(self, cookie: object) -> None:
        if not self._wanted:
            return
        if isinstance(cookie, int):
            self._tell(True, "The screen is kept awake while the job is open.")
        else:
            self._hang_up()
            self._ask_login()

    def _ask_login(self) -> None:
        bus = QDBusConnection.systemBus() if Path("/run/dbus/system_bus_socket").exists() else None
        if bus is None or not bus.isConnected():
            self._tell(
                False, "The screen cannot be kept awake: no desktop answers. Set its time in the settings."
            )
            return
        message = QDBusMessage.createMethodCall(*LOGIN, "Inhibit")
        message.setArguments(["idle", "Benchguide", WHY, "block"])
        self._call(bus, message, self._login_answered)

    def _login_answered(self, lock: object) -> None:
        if not isinstance(lock, QDBusUnixFileDescriptor) or not lock.isValid():
            self._tell(
                False, "The screen cannot be kept awake: no desktop answers. Set its time in the settings."
            )
            return
        if self._wanted:
            self._lock = lock  # held as long as the descriptor is open
            self._tell(True, "The screen is kept awake while the job is open.")

    def _tell(self, held: bool, sentence: str) -> None:
        if (held, sentence) != (self.held, self.sentence):
            self.held, self.sentence = held, sentence
            self.state_changed.emit(held, sentence)
