"""What durable storing costs, beside the barest way to do the same on the same disk.

Run: python tests/bench/bench_store.py [FOLDER]
FOLDER lies on the disk to measure; default: the system's temporary folder. Prints bar, figure and baseline;
figures are medians of rounds taken in turn. Exit code 1 when a bar is missed.
"""

import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchguide.store.links import link
from benchguide.store.log import EventLog
from benchguide.store.photos import PhotoFacts, PhotoShelf

ROUNDS = 300
PHOTO_ROUNDS = 60


def event(kind: str, **data: object) -> dict[str, object]:
    at = {"wall": "2026-03-02T09:13:07.123+01:00", "boot_us": 123_456_789, "awake_us": 123_456_789}
    return {"kind": kind, "v": 1, "at": {**at, "boot_id": "b" * 36}, "by": "Ada", "data": data}


def timed(action: Callable[[], object]) -> float:
    begin = time.perf_counter()
    action()
    return (time.perf_counter() - begin) * 1000


def alternate(
    rounds: int, one: Callable[[], object], other: Callable[[], object]
) -> tuple[list[float], list[float]]:
    """Both in turn, swapping who goes first, so that a slow moment of the disk hits both alike."""
    ones, others = [], []
    for number in range(rounds):
        if number % 2:
            ones.append(timed(one))
            others.append(timed(other))
        else:
            others.append(timed(other))
            ones.append(timed(one))
    return ones, others


def row(name: str, bar: str, figure: str, baseline: str, met: bool) -> bool:
    print(f"{name:<44} {bar:>12} {figure:>14} {baseline:>26}  {'met' if met else 'MISSED'}")
    return met


def bench_append(folder: Path) -> bool:
    """One event, durable with its quick list, against one bare row of the same text."""
    text = link("s", 0, "0" * 64, [event("StepDone", step="s-12")])[0][1].decode()
    bare = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        bare.execute(f"PRAGMA {pragma}")
    bare.execute("CREATE TABLE events (body TEXT NOT NULL)")

    def insert() -> None:
        bare.execute("INSERT INTO events VALUES (?)", (text,))

    with EventLog.open(folder / "data") as log:
        log.append("s", [event("SessionStarted", job="J")])
        ours, theirs = alternate(ROUNDS, lambda: log.append("s", [event("StepDone", step="s-12")]), insert)
    bare.close()
    mine, base = statistics.median(ours), statistics.median(theirs)
    p95 = sorted(ours)[int(ROUNDS * 0.95)]
    print(
        f"  durable append, 95th percentile: {p95:.2f} ms; bare: {sorted(theirs)[int(ROUNDS * 0.95)]:.2f} ms"
    )
    figure = f"{mine / base:.2f} x"
    return row(
        "durable append / bare sqlite3 insert",
        "<= 1.30 x",
        figure,
        f"{mine:.3f} / {base:.3f} ms",
        mine / base <= 1.3,
    )


def bench_photo(folder: Path) -> bool:
    """A 1080p frame to a verified photo, against encode + write + fsync."""
    import cv2
    import numpy as np

    noise = np.random.default_rng(7).integers(0, 256, (270, 480, 3), dtype=np.uint8)
    frame = cv2.GaussianBlur(cv2.resize(noise, (1920, 1080), interpolation=cv2.INTER_CUBIC), (0, 0), 2)
    shelf = PhotoShelf(folder / "data")
    count = 0

    def encode() -> bytes:
        return cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()

    def ours() -> None:
        shelf.keep(encode(), PhotoFacts(datetime.now(UTC), "J", f"s-{count}", "cover", "as-found", "bench"))

    def bare() -> None:
        nonlocal count
        count += 1
        fd = os.open(folder / f"bare-{count}.jpg", os.O_WRONLY | os.O_CREAT)
        os.write(fd, encode())
        os.fsync(fd)
        os.close(fd)

    ours()  # the first photo loads Pillow, once in the life of the program
    kept, wrote = alternate(PHOTO_ROUNDS, ours, bare)
    mine, base = statistics.median(kept), statistics.median(wrote)
    print(f"  1080p photo of {len(encode()) // 1000} kB")
    figure = f"{mine / base:.2f} x"
    return row(
        "shutter to verified photo / encode+write+fsync",
        "<= 1.50 x",
        figure,
        f"{mine:.2f} / {base:.2f} ms",
        mine / base <= 1.5,
    )


def bench_read(folder: Path) -> bool:
    """5,000 events with every hash recomputed, against reading the bare rows."""
    data = folder / "long"
    with EventLog.open(data) as log:
        log.append(
            "s", [event("SessionStarted", job="J"), *(event("StepDone", step=f"s-{n}") for n in range(4_999))]
        )

    def ours() -> None:
        with EventLog.open(data) as again:
            assert len(again.events("s")) == 5_000

    def bare() -> None:
        con = sqlite3.connect(data / "sessions.db")
        assert len(con.execute("SELECT body FROM events ORDER BY session, seq").fetchall()) == 5_000
        con.close()

    with EventLog.open(data) as log:
        read = statistics.median(timed(lambda: log.events("s")) for _ in range(15))
    opened, rows = alternate(15, ours, bare)
    row(
        "read 5,000 events (chain checked)",
        "<= 80 ms",
        f"{read:.1f} ms",
        f"bare rows {statistics.median(rows):.1f} ms",
        read <= 80,
    )
    mine = statistics.median(opened)
    return (
        row("open the log and read 5,000 events", "<= 150 ms", f"{mine:.1f} ms", "", mine <= 150)
        and read <= 80
    )


def main() -> int:
    where = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=where) as folder:
        print(f"{'what':<44} {'bar':>12} {'figure':>14} {'ours / baseline (medians)':>26}")
        met = [bench(Path(folder)) for bench in (bench_append, bench_photo, bench_read)]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
