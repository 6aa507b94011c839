"""A real MJPEG server on loopback: served, cut, back again; and everything a bad one can send."""

import os
import time
import tracemalloc

import numpy as np
import pytest

from benchguide.camera import CameraState, CameraWorker, SourceLost, make_source, parse_source
from benchguide.camera.decode import decode_stream_jpeg
from benchguide.camera.encode import encode_jpeg
from benchguide.camera.mjpeg import MjpegStream
from benchguide.camera.multipart import MAX_HEADER, MultipartParser


def read_some(source, count, attempts=200):
    frames = []
    for _ in range(attempts):
        frame = source.read()
        if frame is not None:
            frames.append(frame)
        if len(frames) == count:
            return frames
    raise AssertionError(f"only {len(frames)} pictures")


def open_and_read(source):
    source.open()
    for _ in range(50):
        source.read()


def lost(source):
    """The sentence a stream ends with."""
    with pytest.raises(SourceLost) as error:
        open_and_read(source)
    source.close()
    sentence = str(error.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    return sentence


def test_it_serves_is_cut_and_comes_back(stream_server, told):
    server = stream_server()
    spec = parse_source(server.address)
    worker = CameraWorker(lambda: make_source(spec), on_frame=told.frame, on_status=told.status)
    worker.start()
    try:
        told.wait_for(CameraState.LIVE)
        told.wait_frames(5)
        assert worker.newest().image.shape == (240, 320, 3)
        began = time.monotonic()
        server.cut()
        told.wait_for(CameraState.LOST)
        assert time.monotonic() - began < 2.0
        server.start()
        seen = told.frames
        told.wait_for(CameraState.LIVE)
        told.wait_frames(seen + 5)
        photo = worker.shutter()
        assert photo.image.shape == (240, 320, 3)
    finally:
        assert worker.stop()


def test_a_stream_that_falls_silent_is_told_within_two_seconds(
    stream_server, told, stream_head, stream_part, picture
):
    def falls_silent(connection, cut):
        connection.sendall(stream_head)
        for number in range(5):
            connection.sendall(stream_part(encode_jpeg(picture(number))))
        cut.wait(30)

    server = stream_server(falls_silent)
    worker = CameraWorker(lambda: MjpegStream(server.address), on_frame=told.frame, on_status=told.status)
    worker.start()
    try:
        told.wait_frames(1)
        began = time.monotonic()
        told.wait_for(CameraState.LOST)
        assert time.monotonic() - began < 2.0
    finally:
        assert worker.stop()


def test_broken_pictures_are_passed_over_and_sizes_may_change(
    stream_server, stream_head, stream_part, picture
):
    good, larger = encode_jpeg(picture(1)), encode_jpeg(picture(2, (640, 480)))
    huge = bytearray(good)
    at = huge.index(b"\xff\xc0") + 5
    huge[at : at + 4] = b"\xff\xff\xff\xff"  # a header that claims 65535 x 65535

    def mixed(connection, cut):
        connection.sendall(stream_head)
        while not cut.wait(0.01):
            for body in (b"", good[: len(good) // 2], b"not a picture", bytes(huge), good):
                connection.sendall(stream_part(body))
                cut.wait(0.01)
            connection.sendall(stream_part(larger, with_length=False))

    source = MjpegStream(stream_server(mixed).address)
    source.open()
    images = [frame.image for frame in read_some(source, 12)]
    source.close()
    assert {image.shape for image in images} == {(240, 320, 3), (480, 640, 3)}
    whole = decode_stream_jpeg(good)
    assert all(np.array_equal(image, whole) for image in images if image.shape == whole.shape), (
        "none half grey"
    )


def test_random_bytes_end_in_one_sentence_and_bounded_memory(stream_server, stream_head):
    noise = os.urandom(1 << 20)

    def garbage(connection, cut):
        connection.sendall(stream_head)
        while not cut.is_set():
            connection.sendall(noise)

    server = stream_server(garbage)
    source = MjpegStream(server.address)
    tracemalloc.start()
    try:
        with pytest.raises(SourceLost, match="holds no pictures"):
            open_and_read(source)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
        source.close()
    assert peak < 8 * 1024 * 1024


def test_garbage_parts_for_ever_end_in_one_sentence(stream_server, stream_head, stream_part):
    def parts(connection, cut):
        connection.sendall(stream_head)
        while not cut.is_set():
            connection.sendall(stream_part(b"\xff\xd8 nonsense \xff\xd9"))
            cut.wait(0.001)

    assert "no usable pictures" in lost(MjpegStream(stream_server(parts).address))


def test_an_endless_header_of_a_part_is_passed_over(stream_server, stream_head):
    def endless(connection, cut):
        connection.sendall(stream_head + b"--cut-here\r\n")
        while not cut.is_set():
            connection.sendall(b"X-Padding: " + b"x" * 65536 + b"\r\n")

    assert "holds no pictures" in lost(MjpegStream(stream_server(endless).address))


def test_an_endless_http_header_is_refused(stream_server):
    def endless(connection, cut):
        connection.sendall(b"HTTP/1.0 200 OK\r\n")
        while not cut.is_set():
            connection.sendall(b"X-Padding: " + b"x" * 30000 + b"\r\n")

    assert "does not answer" in lost(MjpegStream(stream_server(endless).address))


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        (
            b"HTTP/1.0 200 OK\r\nContent-Type: text/html\r\n\r\n<p>hello",
            "sends text/html, not a picture stream",
        ),
        (b"HTTP/1.0 404 Not Found\r\n\r\n", "answers 404"),
        (b"HTTP/1.0 401 No\r\n\r\n", "asks for a password"),
        (b"HTTP/1.0 302 Found\r\nLocation: http://192.0.2.1/x\r\n\r\n", "points to another machine"),
        (b"\x00\x01\x02 nothing like HTTP\r\n\r\n", "does not answer"),
        (b"", "does not answer"),
    ],
)
def test_other_answers_end_in_one_sentence(stream_server, answer, expected):
    assert expected in lost(MjpegStream(stream_server(lambda c, cut: c.sendall(answer)).address))


def test_nobody_there_is_one_sentence(stream_server):
    server = stream_server()
    server.cut()
    assert "connection refused" in lost(MjpegStream(server.address))


def test_a_password_is_sent_and_never_shown(stream_server, stream_head, stream_part, picture):
    server = stream_server()
    source = MjpegStream(server.address.replace("http://", "http://eve:s%40cret@"))
    assert "s%40cret" not in source.name
    assert "eve" not in source.name
    source.open()
    read_some(source, 1)
    source.close()


class TestMultipart:
    """The framing alone, bytes in and bodies out."""

    def test_any_cutting_of_the_stream_gives_the_same_bodies(self, stream_part):
        bodies = [b"a" * 5, b"--cut", b"\r\n\r\n", bytes(range(256)) * 9]
        stream = b"preamble\r\n" + b"".join(
            stream_part(b, with_length=i % 2 == 0) for i, b in enumerate(bodies)
        )
        stream += b"--cut-here"
        for step in (1, 2, 3, 7, 64, 5000):
            parser = MultipartParser("cut-here")
            got = [body for at in range(0, len(stream), step) for body in parser.feed(stream[at : at + step])]
            assert got == bodies, step

    @pytest.mark.parametrize("boundary", ["--cut-here", '"cut-here"', "cut-here"])
    def test_boundaries_as_cameras_write_them(self, boundary, stream_part):
        assert MultipartParser(boundary).feed(stream_part(b"body")) == [b"body"]

    def test_rfc_2046_example_preamble_and_bodies(self):
        """RFC 2046, section 5.1.1: the preamble is ignored and the CRLF before a boundary belongs to it."""
        text = (
            b"This is the preamble.  It is to be ignored.\r\n\r\n"
            b"--simple boundary\r\n\r\n"
            b"This is implicitly typed plain US-ASCII text.\r\nIt does NOT end with a linebreak.\r\n"
            b"--simple boundary\r\nContent-type: text/plain; charset=us-ascii\r\n\r\n"
            b"This is explicitly typed plain US-ASCII text.\r\nIt DOES end with a linebreak.\r\n\r\n"
            b"--simple boundary--\r\n\r\nThis is the epilogue.  It is also to be ignored.\r\n"
        )
        assert MultipartParser('"simple boundary"').feed(text) == [
            b"This is implicitly typed plain US-ASCII text.\r\nIt does NOT end with a linebreak.",
            b"This is explicitly typed plain US-ASCII text.\r\nIt DOES end with a linebreak.\r\n",
        ]

    def test_memory_stays_bounded_whatever_comes(self):
        rng = np.random.default_rng(1)
        pieces = [
            b"--cut-here",
            b"\r\n\r\n",
            b"Content-Length: 99999\r\n",
            b"\xff\xd8",
            bytes(2000),
            b"x" * 9000,
        ]
        parser = MultipartParser("cut-here", max_part=50_000)
        for _ in range(5000):
            data = pieces[rng.integers(len(pieces))]
            parser.feed(data)
            assert parser.held <= 50_000 + MAX_HEADER + len(data)
