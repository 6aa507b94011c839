"""The worker's promises: never another state than the true one, and a bounded stop."""

import threading
import time

import numpy as np
import pytest

from benchguide.camera import CameraState, CameraWorker, ShutterFailed, SourceLost, SourceTraits


@pytest.fixture
def worker(fed, clock, told):
    made = CameraWorker(lambda: fed, on_frame=told.frame, on_status=told.status, clock=clock)
    yield made
    assert made.stop()


def feed(fed, told, *pictures):
    before = told.frames
    for image in pictures:
        fed.fed.put(image)
    told.wait_frames(before + len(pictures))


def test_it_starts_then_is_live_and_keeps_the_newest(worker, fed, told, picture):
    assert worker.status().state is CameraState.STARTING
    assert worker.newest() is None
    worker.start()
    told.wait_for(CameraState.STARTING)
    feed(fed, told, picture(1), picture(2))
    assert told.wait_for(CameraState.LIVE).sentence == "Test camera is live."
    assert np.array_equal(worker.newest().image, picture(2))


def test_the_same_picture_for_over_two_seconds_is_frozen_and_a_new_one_is_live(
    worker, fed, told, clock, picture
):
    worker.start()
    for _ in range(5):
        feed(fed, told, picture(1))
        clock.pass_s(0.45)
    feed(fed, told, picture(1))
    assert told.wait_for(CameraState.FROZEN).sentence.startswith("Test camera repeats the same picture")
    feed(fed, told, picture(2))
    told.wait_for(CameraState.LIVE)


def test_just_under_two_seconds_is_not_frozen(worker, fed, told, clock, picture):
    worker.start()
    for _ in range(4):
        feed(fed, told, picture(1))
        clock.pass_s(0.49)
    feed(fed, told, picture(1))
    assert worker.status().state is CameraState.LIVE


def test_stills_may_stay_the_same(fed, clock, told, picture):
    fed.traits = SourceTraits(frozen_after_s=None, in_flight=0, noisy=False)
    worker = CameraWorker(lambda: fed, on_frame=told.frame, clock=clock)
    worker.start()
    for _ in range(12):
        feed(fed, told, picture(1))
        clock.pass_s(1)
    feed(fed, told, picture(1))
    assert worker.status().state is CameraState.LIVE
    assert worker.stop()


def test_black_is_told_at_once_even_with_noise_and_a_hot_pixel(worker, fed, told, picture):
    worker.start()
    dark = (picture(3) // 16).astype(np.uint8)
    dark[0, 0] = 255
    feed(fed, told, dark)
    assert "lens cover" in told.wait_for(CameraState.BLACK).sentence
    feed(fed, told, picture(4))
    told.wait_for(CameraState.LIVE)


def test_a_dim_bench_with_one_lit_spot_is_not_black(worker, fed, told, picture):
    worker.start()
    dim = (picture(3) // 16).astype(np.uint8)
    dim[80:160, 100:200] = 120
    feed(fed, told, dim)
    told.wait_for(CameraState.LIVE)


def test_a_read_that_blocks_is_told_as_lost_within_two_seconds(told, picture):
    """The real clock: the watching thread must see what the blocked one cannot say."""
    release = threading.Event()

    class Blocks:
        name = "Stuck camera"
        traits = SourceTraits()
        count = 0

        def open(self): ...

        def read(self):
            from benchguide.camera import Frame

            self.count += 1
            if self.count > 3:
                release.wait(20)
                raise SourceLost("Stuck camera let go.")
            return Frame(picture(self.count), time.monotonic_ns(), self.count, self.name)

        def close(self): ...

    worker = CameraWorker(Blocks, on_frame=told.frame, on_status=told.status)
    worker.start()
    told.wait_frames(3)
    began = time.monotonic()
    status = told.wait_for(CameraState.LOST)
    assert time.monotonic() - began < 2.0
    assert "stopped sending" in status.sentence
    assert worker.status().state is CameraState.LOST
    began = time.monotonic()
    assert worker.stop(timeout_s=0.3) is False
    assert time.monotonic() - began < 1.5
    assert "switched off" in worker.status().sentence
    release.set()


def test_it_is_lost_by_status_alone_as_soon_as_pictures_stay_out(worker, fed, told, clock, picture):
    worker.start()
    feed(fed, told, picture(1))
    clock.pass_s(1.4)
    assert worker.status().state is CameraState.LIVE
    clock.pass_s(0.2)
    status = worker.status()
    assert status.state is CameraState.LOST
    assert status.since_ns == clock.ns


def test_it_reopens_after_a_loss_and_says_why_in_between(worker, fed, told, picture):
    worker.start()
    feed(fed, told, picture(1))
    fed.fed.put(SourceLost("Test camera was unplugged; plug it in again."))
    assert told.wait_for(CameraState.LOST).sentence == "Test camera was unplugged; plug it in again."
    feed(fed, told, picture(2))
    told.wait_for(CameraState.LIVE)
    assert fed.opened == 2
    assert fed.closed >= 1


def test_a_source_that_breaks_unexpectedly_is_a_loss_not_the_end(worker, fed, told, picture, caplog):
    worker.start()
    feed(fed, told, picture(1))
    fed.fed.put(ZeroDivisionError("driver"))
    assert "ZeroDivisionError" in told.wait_for(CameraState.LOST).sentence
    feed(fed, told, picture(2))
    told.wait_for(CameraState.LIVE)


def test_it_survives_a_change_of_size(worker, fed, told, picture):
    worker.start()
    feed(fed, told, picture(1), picture(2, (640, 480)), picture(3, (8, 8)), picture(4))
    told.wait_for(CameraState.LIVE)


def test_a_callback_that_raises_does_not_stop_the_pictures(fed, clock, told, picture, caplog):
    def fails(_):
        raise RuntimeError("window is gone")

    worker = CameraWorker(lambda: fed, on_frame=fails, on_status=told.status, clock=clock)
    worker.start()
    fed.fed.put(picture(1))
    told.wait_for(CameraState.LIVE)
    fed.fed.put(SourceLost("Test camera is gone."))
    told.wait_for(CameraState.LOST)
    assert worker.stop()


def test_the_shutter_passes_over_what_was_in_flight(worker, fed, told, clock, picture):
    """Two pictures that arrive after the command may have been exposed before it."""
    worker.start()
    feed(fed, told, picture(0))
    command = clock.ns
    got = []
    thread = threading.Thread(target=lambda: got.append(worker.shutter(after_ns=command)))
    thread.start()
    for number in (1, 2):
        clock.pass_s(0.03)
        feed(fed, told, picture(number))
    assert not got
    clock.pass_s(0.03)
    feed(fed, told, picture(3))
    thread.join(5)
    assert np.array_equal(got[0].image, picture(3))
    assert got[0].exposed_ns > command


def test_the_shutter_never_takes_a_picture_repeated_from_before_the_command(
    worker, fed, told, clock, picture
):
    worker.start()
    feed(fed, told, picture(0))
    command = clock.ns
    for _ in range(5):
        clock.pass_s(0.03)
        feed(fed, told, picture(0))
    with pytest.raises(ShutterFailed, match="repeated the same picture"):
        worker.shutter(after_ns=command, timeout_s=0.05)
    clock.pass_s(0.03)
    feed(fed, told, picture(7))
    assert np.array_equal(worker.shutter(after_ns=command, timeout_s=0.05).image, picture(7))


@pytest.mark.parametrize("case", ["none", "black", "lost"])
def test_the_shutter_fails_in_one_sentence(case, worker, fed, told, clock, picture):
    worker.start()
    if case != "none":
        feed(fed, told, picture(0))
    if case == "black":
        clock.pass_s(0.1)
        feed(fed, told, *(np.full((240, 320, 3), n, np.uint8) for n in range(4)))
    if case == "lost":
        fed.refuse = "Test camera is not plugged in."
        fed.fed.put(SourceLost(fed.refuse))
        told.wait_for(CameraState.LOST)
    with pytest.raises(ShutterFailed) as failed:
        worker.shutter(timeout_s=0.05)
    sentence = str(failed.value)
    expected = {"none": "is starting", "black": "black pictures", "lost": "not plugged in"}[case]
    assert sentence.startswith("No photo was taken.")
    assert expected in sentence
    assert "\n" not in sentence


def test_stop_ends_a_waiting_shutter(worker, fed, told, picture):
    worker.start()
    feed(fed, told, picture(0))
    failed = threading.Event()

    def press():
        try:
            worker.shutter(timeout_s=30)
        except ShutterFailed:
            failed.set()

    thread = threading.Thread(target=press)
    thread.start()
    assert worker.stop()
    assert failed.wait(3)
    thread.join()


def test_it_can_be_started_again(worker, fed, told, picture):
    worker.start()
    feed(fed, told, picture(1))
    assert worker.stop()
    assert fed.closed == 1
    worker.start()
    assert worker.newest() is None
    feed(fed, told, picture(2))
    told.wait_for(CameraState.LIVE)


def test_the_rate_is_counted_over_two_seconds(worker, fed, told, clock, picture):
    worker.start()
    for number in range(10):
        feed(fed, told, picture(number))
        clock.pass_s(0.1)
    assert worker.status().fps == pytest.approx(10.0)


def test_a_burst_gives_pictures_exposed_after_the_command_in_order(worker, fed, told, clock, picture):
    worker.start()
    feed(fed, told, picture(1), picture(2))
    asked, found = clock(), []
    taking = threading.Thread(target=lambda: found.extend(worker.burst(3, asked, within_s=5)))
    taking.start()
    for number in range(3, 10):
        clock.pass_s(0.03)
        feed(fed, told, picture(number))
    taking.join(10)
    assert 1 <= len(found) <= 3
    assert all(frame.exposed_ns > asked for frame in found)
    assert [frame.index for frame in found] == sorted({frame.index for frame in found})


def test_a_burst_gives_what_came_in_time(worker, fed, told, clock, picture):
    worker.start()
    clock.pass_s(0.1)
    feed(fed, told, picture(1), picture(2), picture(3))
    assert [frame.index for frame in worker.burst(5, 0, within_s=0.05)] == [3]
