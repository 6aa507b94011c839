"""Real servers on loopback, hand-fed sources and a clock that is set by hand."""

from __future__ import annotations

import contextlib
import queue
import socket
import threading
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from benchguide.camera import CameraState, CameraStatus, Frame, SourceLost, SourceTraits
from benchguide.camera.encode import encode_jpeg

Serve = Callable[[socket.socket, threading.Event], None]
HEAD = b"HTTP/1.0 200 OK\r\nContent-Type: multipart/x-mixed-replace; boundary=cut-here\r\n\r\n"


def noisy(seed: int, size: tuple[int, int] = (320, 240), level: int = 110) -> np.ndarray:
    """A picture with sensor-like noise, different for every seed."""
    rng = np.random.default_rng(seed)
    return rng.integers(level - 20, level + 20, (size[1], size[0], 3), dtype=np.uint8)


def part(body: bytes, *, with_length: bool = True) -> bytes:
    """One part of a multipart stream."""
    length = f"Content-Length: {len(body)}\r\n" if with_length else ""
    return f"--cut-here\r\nContent-Type: image/jpeg\r\n{length}\r\n".encode() + body + b"\r\n"


class StreamServer:
    """Answers every connection on one loopback port with `serve`; can be cut and brought back."""

    def __init__(self, serve: Serve) -> None:
        self.serve = serve
        self.port = 0
        self.connections = 0
        self._listener: socket.socket | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/video"

    def start(self) -> None:
        self._cut = threading.Event()
        self._open: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._listener = listener = socket.create_server(("127.0.0.1", self.port))
        self.port = listener.getsockname()[1]
        self._accepting = threading.Thread(target=self._accept, args=(listener, self._cut))
        self._accepting.start()

    def cut(self) -> None:
        """Drop every connection and stop listening, as when a cable is pulled."""
        if self._listener is None:
            return
        self._cut.set()
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._listener = None
        self._accepting.join()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join()

    def _accept(self, listener: socket.socket, cut: threading.Event) -> None:
        while not cut.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            self.connections += 1
            self._open.append(connection)
            thread = threading.Thread(target=self._answer, args=(connection, cut))
            self._threads.append(thread)
            thread.start()

    def _answer(self, connection: socket.socket, cut: threading.Event) -> None:
        with connection:
            try:
                asked = b""
                while b"\r\n\r\n" not in asked:
                    more = connection.recv(4096)
                    if not more:
                        return
                    asked += more
                self.serve(connection, cut)
            except OSError:
                pass  # the other side went away, or cut() closed the connection


def live(connection: socket.socket, cut: threading.Event) -> None:
    """A healthy stream: a new noisy picture every 20 ms."""
    connection.sendall(HEAD)
    number = 0
    while not cut.wait(0.02):
        connection.sendall(part(encode_jpeg(noisy(number)), with_length=number % 2 == 0))
        number += 1


@pytest.fixture
def stream_server() -> Iterator[Callable[[Serve], StreamServer]]:
    servers: list[StreamServer] = []

    def make(serve: Serve = live) -> StreamServer:
        server = StreamServer(serve)
        servers.append(server)
        server.start()
        return server

    yield make
    for server in servers:
        server.cut()


class Told:
    """Collects what a worker tells, and waits for it."""

    def __init__(self) -> None:
        self.statuses: list[CameraStatus] = []
        self.frames = 0
        self._changed = threading.Condition()

    def status(self, status: CameraStatus) -> None:
        with self._changed:
            self.statuses.append(status)
            self._changed.notify_all()

    def frame(self, frame: Frame) -> None:
        with self._changed:
            self.frames += 1
            self._changed.notify_all()

    def wait_for(self, state: CameraState, timeout: float = 5.0) -> CameraStatus:
        with self._changed:
            done = self._changed.wait_for(lambda: self.statuses and self.statuses[-1].state is state, timeout)
            assert done, f"{state} was not told; told were {self.statuses}"
            return self.statuses[-1]

    def wait_frames(self, count: int, timeout: float = 5.0) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: self.frames >= count, timeout), f"only {self.frames} frames"


@pytest.fixture
def told() -> Told:
    return Told()


class Clock:
    """A monotonic clock set by hand."""

    def __init__(self) -> None:
        self.ns = 1_000_000_000

    def __call__(self) -> int:
        return self.ns

    def pass_s(self, seconds: float) -> None:
        self.ns += int(seconds * 1e9)


class FedSource:
    """A source fed by the test: an array is a picture, an exception is raised, None is a miss."""

    name = "Test camera"

    def __init__(self, clock: Callable[[], int], traits: SourceTraits | None = None) -> None:
        self.clock = clock
        self.traits = traits or SourceTraits()
        self.fed: queue.Queue[object] = queue.Queue()
        self.refuse: str | None = None
        self.opened = self.closed = 0
        self._index = 0

    def open(self) -> None:
        self.opened += 1
        if self.refuse:
            raise SourceLost(self.refuse)

    def read(self) -> Frame | None:
        try:
            item = self.fed.get(timeout=0.02)
        except queue.Empty:
            return None
        if isinstance(item, BaseException):
            raise item
        if callable(item):
            return item()
        if item is None:
            return None
        self._index += 1
        return Frame(item, self.clock(), self._index, self.name)  # type: ignore[arg-type]

    def close(self) -> None:
        self.closed += 1


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def fed(clock: Clock) -> FedSource:
    return FedSource(clock)


@pytest.fixture
def picture() -> Callable[..., np.ndarray]:
    return noisy


@pytest.fixture
def stream_part() -> Callable[..., bytes]:
    return part


@pytest.fixture
def stream_head() -> bytes:
    return HEAD
