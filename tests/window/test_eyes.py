"""What the camera sees, through the ordinary flow: real store, threads and judgement; only the pictures are made.

Pictures come from the drawn devices, hands and mats of the camera tests.
"""

import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))

from benchguide.camera.encode import encode_jpeg
from benchguide.camera.frame import Frame
from benchguide.camera.opencv import cv2
from benchguide.camera.source import SourceTraits
from benchguide.review.exceptions import exceptions_of
from benchguide.review.record import read_record
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.gates import gates_for_step
from benchguide.store.live import read_session
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.demo import ScriptClock
from benchguide.window.hands_watch import HandsWatch
from benchguide.window.live_compare import LiveCompare
from benchguide.window.photo_judge import PhotoJudge, View, pick, unchanging
from benchguide.window.photo_place import Earlier, Known, known_for
from benchguide.window.records_pair import pairs_of, words_of
from tests.camera.device_scenes import pair
from tests.camera.hand_streams import stream

WAIT_MS = 30_000
PAIR = pair(1000, 0)


class Pictures:
    """A camera that shows what it is given, with a little sensor noise, thirty times a second."""

    name = "test camera"
    traits = SourceTraits(frozen_after_s=None, in_flight=0, noisy=False)

    def __init__(self, bench_camera: "Shown") -> None:
        self._shown = bench_camera
        self._index = 0

    def open(self) -> None:
        pass

    def close(self) -> None:
        pass

    def read(self) -> Frame | None:
        time.sleep(1 / 30)
        self._index += 1
        return Frame(self._shown.image, time.monotonic_ns(), self._index, self.name)


class Shown:
    """What lies under the camera now."""

    def __init__(self, image: np.ndarray) -> None:
        self.image = image


@pytest.fixture
def shown() -> Shown:
    return Shown(PAIR.found)


@pytest.fixture
def bench(
    tmp_path: Path, qtbot: QtBot, qapp: QApplication, shown: Shown, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Bench]:
    monkeypatch.setattr(Bench, "_make_source", lambda self: Pictures(shown))
    clock = ScriptClock(datetime.now().astimezone())
    options = Options(data=tmp_path, camera="camera:test", sound=False, hands_free=False, clock=clock)
    shell, theme = open_shell(application(), options)
    qtbot.addWidget(shell)
    shell.show()
    made = Bench(application(), shell, theme, options)
    made.settings = replace(made.settings, hands_clear=False)
    made.load()
    entry = made.shelf.procedure("gloamreed-tuning-wheel")
    assert entry is not None
    made.start(entry, "J-1", "Ada")
    qtbot.waitUntil(lambda: made.camera.live, timeout=WAIT_MS)
    yield made
    made.close()


def blurred(image: np.ndarray) -> np.ndarray:
    return cv2().GaussianBlur(image, (0, 0), 6)


def photo(bench: Bench, qtbot: QtBot, purpose: str = "") -> ev.PhotoTaken:
    assert bench.driver is not None
    with qtbot.waitSignal(bench.driver.photo_kept, timeout=WAIT_MS):
        if purpose:
            bench.driver.take_photo(purpose)
        else:
            bench.shell.actions_by_name["take-photo"].trigger()
    return bench.driver.state.photos[-1]


def kinds(bench: Bench) -> list[str]:
    assert bench.driver is not None
    state = bench.driver.state
    return [gate.kind for gate in gates_for_step(state, state.step)]


def to_way_back(bench: Bench, qtbot: QtBot, shown: Shown) -> tuple[ev.PhotoTaken, str]:
    """As-found photo of the cell plug, then to the step that closes it again."""
    driver = bench.driver
    assert driver is not None
    driver.do(cmd.GoTo("in-cell-plug"))
    found = photo(bench, qtbot)
    driver.do(cmd.GoTo("back-cell-plug"))
    assert bench.bench_room.reference == found.sha256
    return found, driver.state.step.id


def test_a_poor_photo_is_told_holds_and_is_kept_by_one_key(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    assert bench.driver is not None
    bench.driver.do(cmd.GoTo("in-cell-plug"))
    shown.image = blurred(PAIR.found)
    qtbot.wait(100)
    with qtbot.waitSignal(bench.driver.photo_judged, timeout=WAIT_MS) as judged:
        poor = photo(bench, qtbot)
    assert judged.args[1].reasons[0].fault in ("out-of-focus", "shaken")
    assert poor.faults
    assert "poor-as-found" in kinds(bench)
    banner = bench.bench_room.camera.banner
    assert banner is not None
    assert judged.args[1].sentence in banner.text
    assert bench.bench_room.keys["keep-poor"].isVisible()
    bench.shell.actions_by_name["keep-poor"].trigger()
    assert "poor-as-found" not in kinds(bench)
    assert not bench.bench_room.keys["keep-poor"].isVisible()
    assert bench.bench_room.camera.banner is None
    state, _facts = read_session(bench.log, bench.driver.session_id)
    assert state.kept_poor == {poor.sha256}
    told = [e.sentence for e in exceptions_of(read_record(bench.log, bench.driver.session_id))]
    assert any("was kept by Ada" in sentence for sentence in told)


def test_a_good_retake_releases_the_step(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    assert bench.driver is not None
    bench.driver.do(cmd.GoTo("in-cell-plug"))
    shown.image = blurred(PAIR.found)
    qtbot.wait(100)
    photo(bench, qtbot)
    shown.image = PAIR.found
    qtbot.wait(100)
    again = photo(bench, qtbot)
    assert (again.purpose, again.faults) == ("as-found", [])
    assert "poor-as-found" not in kinds(bench)


def test_as_left_is_compared_and_its_candidates_answered(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    found, step = to_way_back(bench, qtbot, shown)
    driver = bench.driver
    assert driver is not None
    shown.image = PAIR.left
    qtbot.wait(100)
    left = photo(bench, qtbot, "as-left")
    qtbot.waitUntil(lambda: step in driver.state.compared, timeout=WAIT_MS)
    compared = driver.state.compared[step]
    assert (compared.as_found, compared.as_left, compared.aligned) == (found.sha256, left.sha256, True)
    assert compared.candidates
    panel = bench.bench_room.differences
    assert panel.isVisible()
    assert not bench.bench_room.device.isVisible()
    assert "all good" not in panel.title.text()
    # the outlines on the picture bear the numbers of the list, until they are answered
    camera = bench.bench_room.camera
    qtbot.waitUntil(lambda: camera.live_label.endswith("listed"), timeout=WAIT_MS)
    assert [each.number for each in camera.outlines] == list(range(1, len(compared.candidates) + 1))
    first, box = camera.outlines[0], compared.candidates[0]
    wide, high = left.width, left.height
    assert abs(first.box.center().x() * wide - (box["x"] + box["w"] / 2)) < 12  # type: ignore[operator]
    assert abs(first.box.center().y() * high - (box["y"] + box["h"] / 2)) < 12  # type: ignore[operator]
    bench.shell.actions_by_name["difference-mended"].trigger()
    assert driver.state.differences[(step, 1)] == "mended"
    qtbot.waitUntil(lambda: 1 not in [each.number for each in camera.outlines]
                    or not camera.live_label.endswith("listed"), timeout=WAIT_MS)  # fmt: skip
    record = read_record(bench.log, driver.session_id)
    told = [e.sentence for e in exceptions_of(record) if e.kind == "difference"]
    assert len(told) == len(compared.candidates)
    assert told[0].endswith("- mended.")
    pairs = pairs_of(record)
    assert pairs[left.sha256].other == found.sha256
    assert pairs[found.sha256].other == left.sha256
    assert "mended" in words_of(pairs[left.sha256])


def test_the_live_picture_is_outlined_and_flipped(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    to_way_back(bench, qtbot, shown)
    room, actions = bench.bench_room, bench.shell.actions_by_name
    shown.image = PAIR.left
    actions["flip-pair"].trigger()
    assert (room.mode, room.camera.opacity) == ("over", 1.0)
    qtbot.waitUntil(lambda: bool(room.camera.outlines), timeout=WAIT_MS)
    assert room.camera.laid is not None
    assert "may differ" in room.camera.live_label
    actions["flip-pair"].trigger()
    assert room.camera.opacity == 0.0
    with qtbot.waitSignals([bench.eyes.live.told] * 4, timeout=WAIT_MS):
        pass


def test_two_different_devices_cannot_be_told(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    _found, step = to_way_back(bench, qtbot, shown)
    driver = bench.driver
    assert driver is not None
    shown.image = pair(4000, 3).left
    qtbot.wait(100)
    photo(bench, qtbot, "as-left")
    qtbot.waitUntil(lambda: step in driver.state.compared, timeout=WAIT_MS)
    compared = driver.state.compared[step]
    assert not compared.aligned
    assert compared.why.endswith(".")
    assert bench.bench_room.differences.told.text().startswith("Cannot tell")


def test_a_place_is_marked_by_a_tap_and_taken_away_by_another(
    bench: Bench, qtbot: QtBot, shown: Shown
) -> None:
    found, _step = to_way_back(bench, qtbot, shown)
    driver, view = bench.driver, bench.bench_room.camera
    assert driver is not None
    qtbot.waitUntil(lambda: view._reference is not None, timeout=WAIT_MS)
    bench.shell.actions_by_name["mark-place"].trigger()
    assert view.marking == "screw"
    box = view._photo_box()
    assert box is not None
    spot = QPoint(round(box.center().x()), round(box.center().y()))
    QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=spot)
    marked = driver.state.places[found.sha256][0]
    assert marked is not None
    assert marked.kind == "screw"
    assert abs(marked.x - found.width / 2) < 12
    assert len(view.spots) == 1
    QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=spot)
    assert driver.state.places[found.sha256] == (None,)
    assert view.spots == ()


def test_hands_that_came_and_went_ask_for_one_photo_and_none_with_a_hand(qtbot: QtBot) -> None:
    watch = HandsWatch()
    watch.set_on(True)
    watch.want(True)
    asked: list[int] = []
    now = [None]
    watch.take.connect(lambda: asked.append(now[0].hand))  # type: ignore[attr-defined]
    for shot in stream(5, visits=2):
        now[0] = shot  # type: ignore[assignment]
        watch.on_frame(Frame(shot.image, round(shot.at_s * 1e9), 0, "test"))
    assert asked == [0, 0]


def test_a_hand_that_comes_back_is_not_photographed(qtbot: QtBot) -> None:
    watch = HandsWatch()
    watch.set_on(True)
    watch.want(True)
    clear: list[np.ndarray] = []
    watch.take.connect(lambda: clear.append(shot.image))
    shots = list(stream(5, visits=1))
    for shot in shots:
        watch.on_frame(Frame(shot.image, round(shot.at_s * 1e9), 0, "test"))
    with_hand = max(shots, key=lambda s: s.hand)
    assert watch.fits(clear[0])
    assert not watch.fits(with_hand.image)


def test_a_command_stops_the_photo_that_is_coming(qtbot: QtBot) -> None:
    watch = HandsWatch()
    watch.set_on(True)
    watch.want(True)
    asked: list[bool] = []
    watch.take.connect(lambda: asked.append(True))
    told: list[object] = []
    watch.told.connect(told.append)
    for shot in stream(5, visits=1):
        watch.on_frame(Frame(shot.image, round(shot.at_s * 1e9), 0, "test"))
        if told and getattr(told[-1], "seen", None) == "settling":
            watch.stop()
    assert asked == []
    assert told


def test_the_sharpest_frame_is_picked_and_a_softer_retake_is_poor() -> None:
    sharp, soft = PAIR.found, cv2().GaussianBlur(PAIR.found, (0, 0), 1.2)
    frames = [Frame(image, n, n, "test") for n, image in enumerate((soft, sharp, soft))]
    assert pick(frames) is frames[1]
    judge, view = PhotoJudge(), View("s", "free", "the plug")
    first = judge.judge(sharp, view)
    second = judge.judge(soft, view)
    assert first is not None
    assert first.good
    assert second is not None
    assert not second.good, "a person has seen this view sharper"
    assert judge.judge(soft, View("s", "mat", "the mat")) is None


def test_a_verdict_is_over_the_outline_where_the_map_is_registered(bench: Bench) -> None:
    """The simulated bench knows where its picture lies; another camera does not."""
    from benchguide.camera.simulated import SimulatedBench
    from benchguide.window.scene import face_of, scene_of

    driver = bench.driver
    assert driver is not None
    driver.do(cmd.GoTo("in-cell-plug"))
    state = driver.state
    scene = scene_of(state.job.device, state.ledger, face_of(state.job.device, state.step))
    source = SimulatedBench(lambda: scene)
    source.open()
    frame = source.read()
    assert frame is not None
    view = View("in-cell-plug", "as-found", "Cell plug")
    known = known_for(state, "in-cell-plug", "as-found", scene, bench.photos.path)
    verdict = PhotoJudge().judge(frame.image, view, known)
    assert verdict is not None
    assert verdict.place == "the part's outline"
    assert len(verdict.part_sharp) == 1
    unknown = PhotoJudge().judge(frame.image, view, known_for(state, "in-cell-plug", "as-found", None, None))
    assert unknown is not None
    assert unknown.place == "the middle of the picture"
    assert driver.scene() is None, "another camera is chosen here"


def test_a_verdict_is_over_the_place_of_the_earlier_photo(tmp_path: Path) -> None:
    """Marked on as-found, found again in as-left by laying one over the other; glare there is told, beside it not."""
    path = tmp_path / "found.jpg"
    path.write_bytes(encode_jpeg(PAIR.found))
    height, width = PAIR.found.shape[:2]
    marks = ((0.5 * width, 0.5 * height, 0.08 * width),)
    known = Known((), None, Earlier(path, "a" * 64, width, height, marks, True))
    view = View("s", "as-left", "Cell plug")
    plain = PhotoJudge().judge(PAIR.found, view, known)
    assert plain is not None
    assert plain.place == "the marked place"
    for share, told in ((0.5, True), (0.2, False)):
        spoilt = PAIR.found.copy()
        cv2().circle(
            spoilt, (round(share * width), round(share * height)), round(0.03 * width), (255,) * 3, -1
        )
        verdict = PhotoJudge().judge(spoilt, view, known)
        assert verdict is not None
        assert ("glare" in [reason.fault for reason in verdict.reasons]) is told
    missing = Known((), None, replace(known.earlier, path=tmp_path / "gone.jpg"))  # type: ignore[type-var]
    fallen = PhotoJudge().judge(PAIR.found, view, missing)
    assert fallen is not None
    assert fallen.place == "the middle of the picture"


def test_the_same_picture_twice_is_frozen_but_not_from_stills() -> None:
    judge, view = PhotoJudge(), View("s", "as-found", "the plug")
    first = judge.judge(PAIR.found, view, may_repeat=False)
    assert first is not None
    assert first.good
    again = judge.judge(PAIR.found, view, may_repeat=False)
    assert again is not None
    assert [reason.fault for reason in again.reasons] == ["frozen"]
    still = judge.judge(PAIR.found, view)
    assert still is not None
    assert still.good
    known = judge.judge(PAIR.left, view, frozen=True)
    assert known is not None
    assert "frozen" in [reason.fault for reason in known.reasons]
    one, other = (Frame(image, 0, 0, "test") for image in (PAIR.found, PAIR.left))
    assert unchanging([one, one])
    assert not unchanging([one, other])
    assert not unchanging([one]), "of one picture it cannot be told"


def test_the_moving_picture_rests_while_a_photo_is_judged(qtbot: QtBot, tmp_path: Path) -> None:
    """Nothing is offered to the comparison while it rests, and the newest picture is once it goes on."""
    path = tmp_path / "found.jpg"
    path.write_bytes(encode_jpeg(PAIR.found))
    live = LiveCompare()
    told: list[object] = []
    live.told.connect(told.append)
    resting = [True]
    live.resting = lambda: resting[0]
    live.follow(path)
    qtbot.waitUntil(lambda: live._worker is not None, timeout=WAIT_MS)
    frame = Frame(PAIR.left, time.monotonic_ns(), 0, "test")
    live.on_frame(frame)
    assert live._worker is not None
    assert live._worker._waiting is None
    resting[0] = False
    live.on_frame(frame)
    qtbot.waitUntil(lambda: bool(told), timeout=WAIT_MS)
    assert getattr(told[0], "aligned", False)
    live.close()


def test_a_key_that_comes_after_a_question_has_its_place(bench: Bench, qtbot: QtBot, shown: Shown) -> None:
    """The keys gave way to a question; the key that the as-found photo brings stands in their row all the same."""
    driver, keys = bench.driver, bench.bench_room.keys
    assert driver is not None
    assert isinstance(bench.options.clock, ScriptClock)
    photo(bench, qtbot, "free")
    driver.do(cmd.BeginHold("telephone"))
    bench.options.clock.advance(200)
    driver.do(cmd.EndHold())
    assert not keys["hold"].isVisible()
    driver.do(cmd.ConfirmLast())
    to_way_back(bench, qtbot, shown)
    qtbot.wait(50)
    hold, compare = keys["hold"].geometry(), keys["picture-mode"].geometry()
    assert keys["picture-mode"].isVisible()
    assert (compare.top(), compare.height()) == (hold.top(), hold.height())
    assert compare.left() > hold.right()
