"""What the live preview costs: 1080p at 30 pictures a second, CPU above bare reading.

    python tests/bench/bench_camera.py [--seconds 10]

Two sources: a real MJPEG server on loopback (in its own process, so that its work is not
counted) and the simulated bench. For each, in the same run:

  bare      the source's own read() in a loop, pictures thrown away
  preview   CameraWorker with status checks, each picture scaled for a 960 x 540 preview
            and handed over as contiguous memory, as a window takes it

The figure is (CPU of preview - CPU of bare) in cores; the bar is 0.35. Bare and preview
take turns three times and the median is taken. For the stream, OpenCV's own reader of the
same address is printed too, as a second baseline.
"""

from __future__ import annotations

import argparse
import multiprocessing
import socket
import statistics
import sys
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchguide.camera import CameraWorker, Frame, Source
from benchguide.camera.encode import encode_jpeg, for_preview
from benchguide.camera.mjpeg import MjpegStream
from benchguide.camera.opencv import cv2
from benchguide.camera.simulated import Scene, Shape, SimulatedBench

BAR_CORES = 0.35
FPS, SIZE, PREVIEW = 30, (1920, 1080), (960, 540)


def scene() -> Scene:
    """A device of about the number of shapes a real one has."""
    shapes = [Shape("body", "body", 9, ((0, 0), (160, 90))), Shape("board", "board", 4, ((40, 8), (150, 60)))]
    shapes += [Shape(f"j{i}", "connector", 6, ((45 + 13 * i, 20), (55 + 13 * i, 25))) for i in range(8)]
    shapes += [Shape(f"s{i}", "screw", 5, ((42 + 5.4 * (i % 20), 11 + 40 * (i // 20)),)) for i in range(40)]
    shapes += [Shape("cell", "cell", 5, ((44, 62), (120, 86))), Shape("lid", "cover", 11, ((2, 2), (60, 88)))]
    return Scene(160, 90, 9, tuple(shapes))


def serve(pipe: Connection) -> None:
    """Send the simulated bench as 1080p MJPEG, 30 a second, to one connection after another."""
    bench = SimulatedBench(scene, size=SIZE, fps=FPS)
    bench.open()
    bodies = []
    for _ in range(12):
        frame = bench.read()
        assert frame is not None
        bodies.append(encode_jpeg(frame.image, 85))
    listener = socket.create_server(("127.0.0.1", 0))
    pipe.send((listener.getsockname()[1], sum(map(len, bodies)) // len(bodies)))
    while True:
        connection, _ = listener.accept()
        with connection:
            try:
                send(connection, bodies)
            except OSError:
                continue  # the reader went away; wait for the next


def send(connection: socket.socket, bodies: list[bytes]) -> None:
    connection.recv(4096)
    connection.sendall(b"HTTP/1.0 200 OK\r\nContent-Type: multipart/x-mixed-replace; boundary=b\r\n\r\n")
    due, number = time.monotonic(), 0
    while True:
        body = bodies[number % len(bodies)]
        head = f"--b\r\nContent-Type: image/jpeg\r\nContent-Length: {len(body)}\r\n\r\n".encode()
        connection.sendall(head + body + b"\r\n")
        number, due = number + 1, due + 1 / FPS
        time.sleep(max(0.0, due - time.monotonic()))


def cost(run: Callable[[], int]) -> tuple[float, float]:
    """Cores used and pictures a second while `run` runs."""
    cpu, wall = time.process_time(), time.monotonic()
    count = run()
    wall = time.monotonic() - wall
    return (time.process_time() - cpu) / wall, count / wall


def bare(source: Source, seconds: float) -> int:
    end, count = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        count += source.read() is not None
    return count


def opencv_reader(capture: object, seconds: float) -> int:
    end, count = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        count += capture.read()[0]  # type: ignore[attr-defined]
    return count


def measured_bare(make: Callable[[], Source], seconds: float) -> tuple[float, float]:
    source = make()
    source.open()
    bare(source, 1.0)
    result = cost(lambda: bare(source, seconds))
    source.close()
    return result


def measured_preview(make: Callable[[], Source], seconds: float) -> tuple[float, float]:
    shown: list[object] = [None]
    frames = [0]

    def show(frame: Frame) -> None:
        shown[0] = for_preview(frame.image, *PREVIEW)
        frames[0] += 1

    worker = CameraWorker(make, on_frame=show, on_status=lambda status: None)
    worker.start()
    never = threading.Event()
    never.wait(1.0)

    def run() -> int:
        before = frames[0]
        never.wait(seconds)
        return frames[0] - before

    result = cost(run)
    worker.stop()
    return result


def measured_opencv(address: str, seconds: float) -> tuple[float, float]:
    cv = cv2()
    capture = cv.VideoCapture(address, cv.CAP_FFMPEG, [cv.CAP_PROP_N_THREADS, 1])
    opencv_reader(capture, 1.0)
    result = cost(lambda: opencv_reader(capture, seconds))
    capture.release()
    return result


def report(name: str, make: Callable[[], Source], seconds: float) -> bool:
    pairs = [(measured_bare(make, seconds), measured_preview(make, seconds)) for _ in range(3)]
    above = statistics.median(preview[0] - plain[0] for plain, preview in pairs)
    base = statistics.median(plain[0] for plain, _ in pairs)
    whole = statistics.median(preview[0] for _, preview in pairs)
    fps = statistics.median(preview[1] for _, preview in pairs)
    verdict = "met" if above <= BAR_CORES and fps > 0.95 * FPS else "NOT MET"
    print(f"{name:18} {base:10.3f} {whole:10.3f} {fps:8.1f} {above:10.3f} {BAR_CORES:8.2f}   {verdict}")
    return verdict == "met"


def main() -> int:
    parser = argparse.ArgumentParser(description="CPU of the live preview above bare reading.")
    parser.add_argument("--seconds", type=float, default=10.0, help="length of each of the measurements")
    seconds = parser.parse_args().seconds
    here, there = multiprocessing.get_context("spawn").Pipe()
    server = multiprocessing.get_context("spawn").Process(target=serve, args=(there,), daemon=True)
    server.start()
    port, size = here.recv()
    address = f"http://127.0.0.1:{port}/video"
    print(f"1920 x 1080, {FPS} pictures a second, JPEG of {size // 1024} KB; CPU in cores, median of 3")
    print(f"{'source':18} {'bare read':>10} {'preview':>10} {'fps':>8} {'above':>10} {'bar':>8}")
    bench = SimulatedBench(scene, size=SIZE, fps=FPS)
    bench.prepare(scene())
    try:
        met = [report("MJPEG, loopback", lambda: MjpegStream(address), seconds)]
        met.append(report("simulated bench", lambda: bench, seconds))
        cores, fps = measured_opencv(address, seconds)
        print(f"{'OpenCV reader':18} {cores:10.3f} {'':10} {fps:8.1f}   (second baseline: the same stream)")
    finally:
        server.kill()
        server.join()
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
