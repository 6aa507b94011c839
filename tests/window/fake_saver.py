"""A screen saver on the session bus, as desktops have one: keeps who asked, and lets go of whoever leaves the bus.

Run as a process of its own; prints a line for every change.
"""

import sys

from PySide6.QtCore import QCoreApplication
from PySide6.QtDBus import QDBusConnection, QDBusMessage, QDBusServiceWatcher, QDBusVirtualObject

NAME = "org.freedesktop.ScreenSaver"


def told(*words: object) -> None:
    """One line for whoever started this."""
    sys.stdout.write("|".join(map(str, words)) + "\n")
    sys.stdout.flush()


class Saver(QDBusVirtualObject):
    def __init__(self) -> None:
        super().__init__()
        self.askers: set[str] = set()
        self.watcher = QDBusServiceWatcher()
        self.watcher.setConnection(QDBusConnection.sessionBus())
        self.watcher.setWatchMode(QDBusServiceWatcher.WatchModeFlag.WatchForUnregistration)
        self.watcher.serviceUnregistered.connect(self.gone)

    def introspect(self, _path: str) -> str:
        return ""

    def handleMessage(self, message: QDBusMessage, connection: QDBusConnection) -> bool:
        if message.member() != "Inhibit" or message.interface() != NAME:
            return False
        self.askers.add(message.service())
        self.watcher.addWatchedService(message.service())
        reply = message.createReply()
        reply.setArguments([7])
        connection.send(reply)
        told("held", *message.arguments())
        return True

    def gone(self, name: str) -> None:
        self.askers.discard(name)
        told("released" if not self.askers else "still")


app = QCoreApplication(sys.argv)
bus = QDBusConnection.sessionBus()
saver = Saver()
bus.registerVirtualObject("/org/freedesktop/ScreenSaver", saver)
told("ready" if bus.registerService(NAME) else "failed")
app.exec()
