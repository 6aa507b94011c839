"""Video files and folders of stills, sound and broken."""

import struct
import tracemalloc
import zlib

import numpy as np
import pytest

from benchguide.camera import CameraState, CameraWorker, SourceLost
from benchguide.camera.encode import encode_jpeg
from benchguide.camera.opencv import cv2
from benchguide.camera.stills import StillsFolder
from benchguide.camera.video import VideoFile


def png_header(width, height):
    """The beginning of a PNG that claims a size, with a tiny body: the shape of a picture bomb."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")


def open_and_read(source):
    source.open()
    source.read()


@pytest.fixture
def video(tmp_path, picture):
    path = tmp_path / "bench.avi"
    writer = cv2().VideoWriter(str(path), cv2().VideoWriter.fourcc(*"MJPG"), 50.0, (320, 240))
    assert writer.isOpened()
    for level in (60, 120, 180):
        for _ in range(3):
            writer.write(np.full((240, 320, 3), level, np.uint8))
    writer.release()
    return path


def test_a_video_plays_at_its_own_pace_and_loops(video):
    source = VideoFile(video)
    source.open()
    frames = []
    while len(frames) < 20:
        frame = source.read()
        if frame is not None:
            frames.append(frame)
    source.close()
    levels = [round(float(frame.image.mean()) / 60) for frame in frames]
    assert {1, 2, 3} == set(levels)
    assert levels[0] == 1
    assert 1 in levels[levels.index(3) :], "it starts over"
    seconds = (frames[-1].exposed_ns - frames[0].exposed_ns) / 1e9
    assert seconds >= 0.9 * 19 / 50, "it does not run ahead of 50 pictures a second"
    assert [frame.index for frame in frames] == list(range(20))


def test_a_video_that_pauses_is_not_called_frozen(video):
    assert VideoFile.traits.frozen_after_s is None
    assert StillsFolder.traits.frozen_after_s is None


@pytest.mark.parametrize(
    ("name", "data", "expected"),
    [("none.avi", None, "There is no video file"), ("empty.avi", b"", "cannot be read as a video"),
     ("text.mp4", b"hello " * 1000, "cannot be read as a video")],
)  # fmt: skip
def test_a_file_that_is_no_video_is_one_sentence(tmp_path, name, data, expected):
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(SourceLost, match=expected):
        VideoFile(path).open()


def test_a_playlist_cannot_reach_the_network(tmp_path, stream_server):
    """Neither FFmpeg's own rule nor ours (local files only) may let an address inside a file be opened."""
    server = stream_server()
    path = tmp_path / "list.m3u8"
    path.write_text(f"#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n{server.address}.ts\n#EXT-X-ENDLIST\n")
    with pytest.raises(SourceLost):
        open_and_read(VideoFile(path))
    assert server.connections == 0


def test_a_truncated_video_plays_what_it_has(video):
    video.write_bytes(video.read_bytes()[:-4000])
    source = VideoFile(video)
    source.open()
    frames = [source.read() for _ in range(5)]
    source.close()
    assert any(frame is not None for frame in frames)


def test_stills_are_shown_in_turn_and_bad_ones_named(tmp_path, picture):
    good = encode_jpeg(picture(1))
    (tmp_path / "1.jpg").write_bytes(good)
    (tmp_path / "2-cut.jpg").write_bytes(good[: len(good) // 2])
    (tmp_path / "3-text.jpg").write_bytes(b"no picture at all")
    (tmp_path / "4-empty.jpg").write_bytes(b"")
    (tmp_path / "5-huge.png").write_bytes(png_header(30_000, 30_000))
    (tmp_path / "6.png").write_bytes(cv2().imencode(".png", picture(2, (200, 100)))[1].tobytes())
    (tmp_path / "notes.txt").write_text("not looked at")
    (tmp_path / "7.jpg").mkdir()
    source = StillsFolder(tmp_path, seconds_each=0.05)
    source.open()
    tracemalloc.start()
    try:
        shapes = [source.read().image.shape for _ in range(6)]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    source.close()
    assert {(240, 320, 3), (100, 200, 3)} == set(shapes)
    assert source.skipped["2-cut.jpg"] == "is cut short or damaged"
    assert source.skipped["3-text.jpg"] == source.skipped["4-empty.jpg"] == "is not a JPEG or PNG picture"
    assert "100 megapixels" in source.skipped["5-huge.png"]
    assert set(source.skipped) == {"2-cut.jpg", "3-text.jpg", "4-empty.jpg", "5-huge.png"}
    assert peak < 20_000_000


def test_a_still_turned_by_exif_is_shown_upright(tmp_path):
    from PIL import Image

    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation, Exif 3.0 (CIPA DC-008) 4.6.5: row 0 is the right-hand side
    Image.new("RGB", (80, 40), (200, 30, 30)).save(tmp_path / "a.jpg", exif=exif)
    source = StillsFolder(tmp_path)
    source.open()
    image = source.read().image
    assert image.shape == (80, 40, 3)
    blue, _, red = image[0, 0]
    assert (red > 180, blue < 60) == (True, True), "blue, green, red"


@pytest.mark.parametrize("case", ["missing", "empty", "all bad"])
def test_a_folder_without_a_picture_is_one_sentence(tmp_path, case):
    folder = tmp_path / "stills"
    if case != "missing":
        folder.mkdir()
    if case == "all bad":
        (folder / "a.jpg").write_bytes(b"\xff\xd8\xff")
    with pytest.raises(SourceLost) as error:
        open_and_read(StillsFolder(folder))
    assert str(error.value).count("\n") == 0
    assert str(error.value).endswith(".")


def test_stills_through_the_worker(tmp_path, told, picture):
    (tmp_path / "a.jpg").write_bytes(encode_jpeg(picture(1)))
    worker = CameraWorker(lambda: StillsFolder(tmp_path), on_frame=told.frame, on_status=told.status)
    worker.start()
    told.wait_for(CameraState.LIVE)
    assert worker.shutter().image.shape == (240, 320, 3)
    assert worker.stop()
