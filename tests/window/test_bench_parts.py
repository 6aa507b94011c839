"""The bench with single pieces, the parts panel, a way back that is laid, and the answers a line allows."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))

from benchguide.procedure.device import DeviceMap, Outline, Part, ScrewType
from benchguide.procedure.procedure import CheckLine
from benchguide.procedure.words import CHOICES, REFITS, REMOVALS, AnswerSet, PartKind
from benchguide.session import commands as cmd
from benchguide.session.gates import gates_for_step
from benchguide.session.ledger import Extra, Ledger, OutItem
from benchguide.session.look import in_the_way_off, stack
from benchguide.window.app import Bench, Options, application, open_shell
from benchguide.window.bench_words import laid_words
from benchguide.window.demo import procedure_path
from benchguide.window.reading import character_height_mm
from benchguide.window.theme import DARK, Theme, sizes_on
from benchguide.window.widgets.answers import AnswerList
from benchguide.window.widgets.camera_view import CameraView
from benchguide.window.widgets.stack_view import StackView

Key = Qt.Key


@pytest.fixture
def bench(tmp_path: Path, qtbot: QtBot, qapp: QApplication) -> Iterator[Bench]:
    path = procedure_path("gloamreed-tuning-wheel")
    options = Options(data=tmp_path, camera="simulated", sound=False, procedure=path, job="J-1", person="Ada")
    app = application()
    shell, theme = open_shell(app, options)
    qtbot.addWidget(shell)
    with qtbot.waitExposed(shell):
        shell.show()
    made = Bench(app, shell, theme, options)
    made.load()
    yield made
    made.close()


def do(bench: Bench, *commands: cmd.Command) -> None:
    assert bench.driver is not None
    for command in commands:
        assert bench.driver.do(command) is not None, bench.shell.message.text()


def photo(purpose: str) -> cmd.KeepPhoto:
    return cmd.KeepPhoto("b" * 64, 640, 360, "2026-03-01T09:00:00+00:00", "test", purpose)


def finish_step(bench: Bench) -> None:
    """Do what the present step asks for, and declare it done."""
    assert bench.driver is not None
    step = bench.driver.state.step
    for kind in ("as-found", "as-left"):
        if kind in {gate.kind for gate in gates_for_step(bench.driver.state, step)}:
            do(bench, photo(kind))
    for line in step.lines:
        if (step.id, line.id) not in bench.driver.state.answers:
            do(bench, cmd.AnswerLine(line.id, CHOICES[line.answers][0]))
    if step.reading:
        within = step.reading.low if step.reading.low is not None else step.reading.high or 0.0
        do(bench, cmd.EnterReading(within))
    if step.wait:
        do(bench, cmd.StartCountdown())
        for countdown in bench.driver.state.running:
            do(bench, cmd.StopCountdown(countdown.id, "test"))
    do(bench, cmd.FinishStep())


def trigger(bench: Bench, name: str) -> None:
    action = bench.shell.actions_by_name[name]
    assert action.isEnabled(), name
    action.trigger()


def parts_open(bench: Bench) -> bool:
    return bench.bench_room.parts_open


def go_to_first_screws(bench: Bench) -> str:
    assert bench.driver is not None
    while True:
        state = bench.driver.state
        step = state.step
        if step.action in REMOVALS and state.job.device.by_id[step.parts[0]].pieces > 1:
            return step.parts[0]
        finish_step(bench)


def test_one_key_opens_and_closes_the_parts(qtbot: QtBot, bench: Bench) -> None:
    room = bench.bench_room
    assert not parts_open(bench)
    trigger(bench, "parts")
    assert parts_open(bench)
    assert room.parts is not None
    assert not room.camera.isVisible()
    qtbot.keyClick(room.parts.list, Key.Key_Escape)
    assert not parts_open(bench)
    assert room.camera.isVisible()
    trigger(bench, "parts")
    finish_step(bench)
    # another step brings the picture back
    assert not parts_open(bench)


def test_parts_take_the_whole_place_on_a_small_screen_and_leave_the_instruction_on_a_large(
    qtbot: QtBot, bench: Bench
) -> None:
    room = bench.bench_room
    bench.shell.resize(1280, 800)
    trigger(bench, "parts")
    assert room.parts is not None
    qtbot.waitUntil(lambda: room.parts is not None and room.parts.width() > 1200)
    assert not room.instruction.isVisible()
    parts = room.parts
    # drawing and answer beside each other, each with a third of the width and all of the height
    assert parts.map.height() > 14 * bench.theme.sizes.body_px
    assert parts.answers.height() == parts.map.height()
    assert min(parts.map.width(), parts.answers.width()) > 1280 // 4
    # the answer can be read at one metre: 16 minutes of arc for capitals (ISO 9241-303)
    capital_mm = parts.answers.itemDelegate().theme.sizes.body_pt / 72 * 25.4 * 0.75
    assert capital_mm >= 0.94 * character_height_mm(1000, 16)
    bench.shell.resize(1920, 1080)
    qtbot.waitUntil(room.instruction.isVisible)
    trigger(bench, "parts")
    trigger(bench, "parts")
    assert room.instruction.isVisible()
    assert room.instruction.width() < parts.width()
    trigger(bench, "parts")


def test_what_blocks_and_what_is_empty_are_said_in_a_sentence(bench: Bench) -> None:
    part = go_to_first_screws(bench)
    trigger(bench, "blocks")
    assert bench.bench_room.parts is not None
    assert bench.bench_room.parts.part == part
    assert "Nothing bars this step" in bench.shell.message.text()
    if any(g.kind == "as-found" for g in gates_for_step(bench.driver.state, bench.driver.state.step)):  # type: ignore[union-attr]
        do(bench, photo("as-found"))
    trigger(bench, "one-piece")
    trigger(bench, "empty-places")
    assert "2 places empty, of 2 parts" in bench.shell.message.text()
    assert [row.key for row in bench.bench_room.parts.list.rows.rows][-1] == part


def test_a_click_on_the_drawing_opens_the_parts_there(qtbot: QtBot, bench: Bench) -> None:
    room = bench.bench_room
    assert bench.driver is not None
    while bench.driver.state.step.lines:
        finish_step(bench)
    view = room.device
    assert view.isVisible()
    assert view._drawing is not None
    part = next(p for p in view._drawing.device.parts if p.kind is PartKind.SCREWS and p.face is view.face)
    origin, scale = view._drawing.place(QRectF(view.rect()))
    qtbot.mouseClick(
        view, Qt.MouseButton.LeftButton, pos=(origin + QPointF(*part.places[0]) * scale).toPoint()
    )
    assert room.parts_open
    assert room.parts is not None
    assert room.parts.part == part.id


def test_pieces_show_in_instruction_and_stack(bench: Bench) -> None:
    part = go_to_first_screws(bench)
    assert bench.driver is not None
    for gate in gates_for_step(bench.driver.state, bench.driver.state.step):
        if gate.kind == "as-found":
            do(bench, photo("as-found"))
    trigger(bench, "one-piece")
    pieces = bench.driver.state.job.device.by_id[part].pieces
    assert f"(1 of {pieces} out)" in bench.bench_room.instruction.moved.text()
    assert any(row.startswith("1 × ") for row in bench.bench_room.stack.rows)
    do(bench, cmd.EnterExtra("a washer", "lay in the case", "Ada", "B2"))
    assert bench.bench_room.stack.rows[-1] == "1 × Found: a washer, mat cell B2"
    assert "1 found item" in bench.bench_room.stack.count.text()


def test_an_unplanned_removal_is_shown_on_the_way_back(bench: Bench) -> None:
    """What came off beside the plan has a step on the way back, marked as such on rail and instruction."""
    assert bench.driver is not None
    state = bench.driver.state
    planned = {part for step in state.steps for part in step.parts}
    extra = None
    while bench.driver.state.here < bench.driver.state.job.way_back_at:
        state = bench.driver.state
        free = [
            p.id
            for p in state.job.device.parts
            if extra is None
            and p.id not in planned
            and state.here > 25
            and p.kind in (PartKind.SCREWS, PartKind.LOOSE)
            and in_the_way_off(state, p.id).free
            and not in_the_way_off(state, p.id).gates
        ]
        if free:
            extra = free[0]
            do(bench, cmd.TakeOffPart(extra, 0, "F8", "came along"))
        finish_step(bench)
    assert extra is not None
    state = bench.driver.state
    assert state.laid is not None
    added = [i for i, s in enumerate(state.steps) if s.action in REFITS and extra in s.parts]
    assert added
    room = bench.bench_room
    assert room.rail.segments[added[0]].added
    assert "added to the way back" in room.rail.words(added[0])
    assert laid_words(state, state.steps[added[0]]) == "Not in the procedure: added because it came off."
    do(bench, cmd.GoTo(state.steps[added[0]].id))
    assert room.instruction.laid.text() == "Not in the procedure: added because it came off."
    assert room.instruction.laid.isVisible()
    first = stack(bench.driver.state)[0]
    name = bench.driver.state.job.device.by_id[first.part].name
    assert name in room.stack.rows[0]
    assert room.stack.rows[0].endswith("goes back first")
    trigger(bench, "previous-step")


@pytest.mark.parametrize("name", ["unplanned", "skip", "extra", "hand-over"])
def test_a_question_does_not_make_the_window_grow(qtbot: QtBot, bench: Bench, name: str) -> None:
    bench.shell.resize(1280, 800)
    go_to_first_screws(bench)
    trigger(bench, name)
    assert bench.shell.question.isVisible()
    qtbot.waitUntil(lambda: not bench.bench_room.rail.isVisible())
    assert bench.shell.height() == 800
    bench.shell.question.cancel()
    trigger(bench, "parts")
    trigger(bench, name)
    assert bench.shell.height() == 800


def test_a_person_who_comes_back_is_told_how_the_device_stands(bench: Bench) -> None:
    from benchguide.window.bench_words import standing_words

    assert bench.driver is not None
    assert standing_words(bench.driver.state) == ["Still connected: Cell plug."]
    while not bench.driver.state.ledger.is_out("cell-plug"):
        finish_step(bench)
    do(bench, cmd.EnterExtra("a washer", "lay in the case", "Ada"))
    said = standing_words(bench.driver.state)
    assert said[0] == "Open: Cell plug."
    assert said[1].startswith("Out: ")
    assert said[2] == "Found, belongs nowhere yet: a washer."
    assert len(said) == 3


def line(name: str, answers: AnswerSet) -> CheckLine:
    return CheckLine(id=name, text=f"Look at {name}.", answers=answers)


@pytest.fixture
def theme(qapp: QApplication) -> Theme:
    return Theme(DARK, sizes_on(qapp.primaryScreen(), 70))


def test_a_line_offers_the_answers_it_allows(qtbot: QtBot, theme: Theme) -> None:
    answers = AnswerList(theme)
    qtbot.addWidget(answers)
    answers.resize(700, 500)
    with qtbot.waitExposed(answers):
        answers.show()
    answers.set_lines(
        (line("marking", AnswerSet.AGREES), line("light", AnswerSet.WORKS)), {"marking": "differs"}
    )
    shown = [[b.text() for b in row.buttons if b.isVisible()] for row in answers._rows]
    assert shown[0] == ["1  agrees", "✓  differs"]
    assert shown[1] == [f"{n}  {word}" for n, word in enumerate(CHOICES[AnswerSet.WORKS], 1)]
    given: list[tuple[str, str]] = []
    answers.answered.connect(lambda name, answer: given.append((name, answer)))
    answers._go(0)
    qtbot.keyClick(answers, Key.Key_3)
    assert len(given) == 0
    qtbot.keyClick(answers, Key.Key_1)
    qtbot.keyClick(answers, Key.Key_3)
    assert given == [("marking", "agrees"), ("light", CHOICES[AnswerSet.WORKS][2])]
    answers._rows[0].buttons[1].click()
    assert list(given[-1]) == ["marking", "differs"]


def test_the_stack_follows_the_order_it_is_given(qtbot: QtBot, theme: Theme) -> None:
    screws = ScrewType(count=2, drive="cross PH00", thread="M2", length_mm=4)
    device = DeviceMap(
        benchguide="device/1",
        id="box",
        name="Box",
        about="For tests.",
        outline=Outline(width_mm=50, height_mm=50),
        parts=(
            Part(id="lid", kind=PartKind.COVER, name="Lid"),
            Part(id="screws", kind=PartKind.SCREWS, name="Screws", screws=screws),
        ),
    )
    lid, two = OutItem("lid", 1, "A1", "s"), OutItem("screws", 2, "A2", "s")
    view = StackView(theme)
    qtbot.addWidget(view)
    view.set_ledger(Ledger((two, lid)), device)
    assert [row.split(",")[0] for row in view.rows] == ["1 × Lid", "2 × Screws"]
    view.set_ledger(Ledger((two, lid)), device, (two, lid))
    assert view.rows == ("2 × Screws, mat cell A2, goes back first", "1 × Lid, mat cell A1")
    view.set_ledger(Ledger((), (Extra("extra-1", "a spring", "", "s"),)), device, ())
    assert view.rows == ("1 × Found: a spring, no mat cell",)
    assert view.count.text() == "Nothing is out, 1 found item"


@pytest.mark.parametrize("size", [(560, 200), (560, 330), (900, 520)])
def test_the_label_of_the_frame_is_never_cut(qtbot: QtBot, theme: Theme, size: tuple[int, int]) -> None:
    """The plate with the words lies inside the picture, whatever room there is."""
    view = CameraView(theme)
    qtbot.addWidget(view)
    view.resize(*size)
    frame = QImage(1280, 720, QImage.Format.Format_RGB32)
    frame.fill(0)
    view.set_frame(frame)
    view.set_status("")
    plates: list[QRectF] = []
    paint = view._paint_label
    view._paint_label = lambda painter, box, text: (plates.append(QRectF(box)), paint(painter, box, text))  # type: ignore[method-assign, assignment, func-returns-value]
    view.set_outline(QRectF(0.1, 0.1, 0.8, 0.8), "Main board screws, Main board")
    view.grab()
    picture = QRectF(view.live_rect())
    assert plates
    for plate in plates:
        assert plate.top() >= picture.top() - 1
        assert plate.bottom() <= picture.bottom() + 1
