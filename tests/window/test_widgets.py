"""The bench's widgets: what they show for given values, what they emit, and that the keyboard is enough."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from PySide6.QtCore import QEvent, QObject, QPoint, QRect, QRectF, Qt
from PySide6.QtGui import QAction, QColor, QFontMetrics, QImage, QKeySequence, QPixmap
from PySide6.QtWidgets import QApplication, QLineEdit, QMenu, QVBoxLayout, QWidget

from benchguide.procedure.device import DeviceMap
from benchguide.procedure.procedure import CheckLine, Procedure, Step
from benchguide.procedure.words import Answer, Face, SignalWord
from benchguide.session.clock import Visit
from benchguide.session.gates import Gate
from benchguide.session.ledger import Ledger, put_back, take_off
from benchguide.session.moment import Moment
from benchguide.session.state import Job, Mark, State, Status, StepMark
from benchguide.window.theme import DARK, LIGHT, Theme, apply_theme, sizes_for
from benchguide.window.widgets.answers import AnswerList
from benchguide.window.widgets.camera_view import CameraView, fitted
from benchguide.window.widgets.caution import CautionPanel
from benchguide.window.widgets.clock_strip import ClockFigures, ClockStrip, CountdownFigure
from benchguide.window.widgets.device_view import DeviceView, face_of
from benchguide.window.widgets.figures import clock, left, span
from benchguide.window.widgets.gatebar import GateBar
from benchguide.window.widgets.instruction import InstructionPanel, cautions_of
from benchguide.window.widgets.key_button import BigKey
from benchguide.window.widgets.marks import marks_of, screw_letters, screw_size
from benchguide.window.widgets.question import Field, QuestionBar
from benchguide.window.widgets.rail import Rail, drawn_length, segments_of
from benchguide.window.widgets.recent_card import RecentCard
from benchguide.window.widgets.stack_view import StackView, counted
from benchguide.window.widgets.themed import advance, wrapped

START = Moment(datetime(2031, 3, 4, 13, 0, tzinfo=UTC), 0, 0, "boot")


def screws(name: str, length: float, places: list[list[float]], **more: object) -> dict[str, object]:
    kind = {"count": len(places), "drive": "cross PH00", "thread": "M1.6", "length_mm": length, "head_mm": 3}
    return {"id": name, "kind": "screws", "name": name.capitalize(), "screws": kind, "places": places, **more}


DEVICE = DeviceMap.model_validate(
    {
        "benchguide": "device/1",
        "id": "lamp",
        "name": "Bench lamp",
        "about": "A made-up lamp.",
        "outline": {"width_mm": 100, "height_mm": 60, "corner_mm": 5},
        "tools": [{"id": "driver", "name": "Screwdriver cross PH00"}],
        "parts": [
            screws("long-screws", 5, [[5, 5], [95, 5], [95, 55]], cell="A1", z_mm=9),
            screws("short-screws", 3, [[30, 20], [60, 20]], cell="A2", z_mm=4),
            screws("other-short", 3, [[30, 40]], cell="A3", z_mm=4),
            {
                "id": "lid",
                "kind": "cover",
                "name": "Lid",
                "held_by": ["long-screws"],
                "box": [1, 1, 98, 58],
                "z_mm": 8,
                "cautions": [
                    {"word": "NOTICE", "text": "Lift it level, or the hooks break."},
                    {"word": "WARNING", "text": "Keep metal off the cell. It can burn."},
                ],
            },
            {"id": "plug", "kind": "connector", "name": "Plug", "under": ["lid"], "box": [40, 30, 8, 6]},
            {"id": "badge", "kind": "loose", "name": "Badge", "face": "front", "box": [10, 10, 20, 8]},
        ],
    }
)
PROCEDURE = Procedure.model_validate(
    {
        "benchguide": "procedure/1",
        "id": "open-lamp",
        "title": "Open the lamp",
        "device": "lamp",
        "about": "Made up.",
        "steps": [
            {"id": "look", "stage": "preparation", "action": "check", "text": "Look.", "time_s": [10, 30]},
            {"id": "unscrew", "stage": "way-in", "action": "off", "text": "Take out the screws.",
             "parts": ["long-screws"], "tool": "driver", "time_s": [30, 90]},
            {"id": "lift", "stage": "way-in", "action": "lift", "text": "Lift the lid.", "parts": ["lid"],
             "key_point": "Level.", "reason": "Hooks.",
             "cautions": [{"word": "CAUTION", "text": "Mind the sharp edge. It can cut."}]},
            {"id": "unplug", "stage": "way-in", "action": "open", "text": "Open the plug.",
             "parts": ["plug"]},
            {"id": "cure", "stage": "seal", "action": "wait", "text": "Wait.",
             "time_s": [10, 20],
             "wait": {"kind": "cure", "for_s": 7200}},
        ],
    }
)  # fmt: skip
JOB = Job(DEVICE, PROCEDURE)


def step(name: str) -> Step:
    return PROCEDURE.by_id[name]


@pytest.fixture(params=[DARK, LIGHT], ids=lambda p: p.name)
def theme(request, qapp: QApplication):
    made = Theme(request.param, sizes_for(70))
    apply_theme(qapp, made)
    yield made
    qapp.setStyleSheet("")


@pytest.fixture
def show(qtbot):
    def shown(widget: QWidget, width: int = 600, height: int = 400) -> QWidget:
        qtbot.addWidget(widget)
        widget.resize(width, height)
        widget.show()
        qtbot.waitExposed(widget)
        return widget

    return shown


def painted(widget: QWidget) -> QImage:
    return widget.grab().toImage()


# -- words and figures


def test_figures() -> None:
    assert (clock(0), clock(65.9), clock(3600), clock(-3)) == ("00:00", "01:05", "1:00:00", "00:00")
    assert (left(0.2), left(60), left(-5)) == ("00:01", "01:00", "00:00")
    assert span(20, 60) == "20 to 60 s"
    assert span(90, 300) == "1.5 to 5 min"
    assert span(7200, 7200) == "2:00 h"


def test_screws_of_different_length_never_share_a_letter() -> None:
    letters = screw_letters(DEVICE)
    assert letters["short-screws"] == letters["other-short"] == "A"
    assert letters["long-screws"] == "B"
    assert screw_size(DEVICE.by_id["long-screws"]) == "3 × M1.6 × 5"


def test_many_kinds_of_screws_still_have_letters_of_their_own() -> None:
    parts = [screws(f"s{i}", 2 + i / 10, [[1, 1]]) for i in range(60)]
    device = DEVICE.model_validate({**DEVICE.model_dump(), "parts": parts})
    assert len(set(screw_letters(device).values())) == 60


def test_parts_that_are_not_screws_are_numbered() -> None:
    both = replace_step("lift", parts=("lid", "long-screws", "plug"))
    assert [(m.part.id, m.sign) for m in marks_of(DEVICE, both)] == [
        ("lid", "1"), ("long-screws", "B"), ("plug", "2"),
    ]  # fmt: skip


def replace_step(name: str, **changes: object) -> Step:
    return step(name).model_copy(update=changes)


# -- instruction and cautions


def test_cautions_stand_before_the_text_most_severe_first(theme, show) -> None:
    panel = show(InstructionPanel(theme))
    panel.show_step(step("lift"), DEVICE, 3, 5)
    assert [c.word for c in panel.cautions] == [SignalWord.WARNING, SignalWord.CAUTION, SignalWord.NOTICE]
    bottom = max(c.mapTo(panel, QPoint(0, c.height())).y() for c in panel.cautions)
    assert bottom <= panel.text.place_in(panel).top()
    assert panel.number.text() == "Step 3 of 5"
    assert panel.key_point.text() == "Level."
    panel.show_step(step("look"), DEVICE, 1, 5)
    assert panel.cautions == ()
    assert panel.key_point.isHidden()


def test_a_caution_is_not_told_twice() -> None:
    twice = replace_step("lift", cautions=DEVICE.by_id["lid"].cautions)
    assert len(cautions_of(twice, DEVICE)) == 2


def test_markup_in_a_procedure_is_shown_as_it_is_written(theme, show, qtbot) -> None:
    panel = show(InstructionPanel(theme))
    panel.show_step(replace_step("look", text="<b>Press</b> <img src='x'>"), DEVICE, 1, 1)
    assert panel.text.text() == "<b>Press</b> <img src='x'>"
    # drawn as it is written, with its angle brackets
    qtbot.waitUntil(lambda: panel.words.height() >= panel.text.place_in(panel).height())
    picture, place = panel.grab().toImage(), panel.text.place_in(panel)
    ground = theme.colour("panel").rgb()
    across = range(place.left(), place.right() + 1)
    drawn = [
        x for x in across if any(picture.pixel(x, y) != ground for y in range(place.top(), place.bottom()))
    ]
    written = advance(panel.text.font(), panel.text.text())
    assert abs(drawn[-1] - drawn[0] - written) < panel.text.font().pointSizeF()


def test_long_text_is_scrolled_never_cut(theme, show, qtbot) -> None:
    panel = show(InstructionPanel(theme), 420, 300)
    panel.show_step(replace_step("lift", text="Press the rim. " * 38), DEVICE, 1, 1)
    qtbot.waitUntil(lambda: panel.more.isVisible())
    assert panel.more_below
    place = panel.text.place_in(panel)
    assert place.height() >= wrapped(panel.text.font(), panel.text.text(), place.width()).height()
    for _ in range(20):
        panel.show_more()
    assert not panel.more_below
    qtbot.waitUntil(lambda: not panel.more.isVisible())
    panel.show_step(step("look"), DEVICE, 1, 1)
    qtbot.waitUntil(lambda: not panel.more_below)
    assert not panel.more.isVisible()


def test_caution_grows_with_its_text(theme, show) -> None:
    panel = CautionPanel(theme, SignalWord.WARNING, "Keep metal off the cell. " * 12)
    assert panel.heightForWidth(300) > panel.heightForWidth(900)
    host = QWidget()
    box = QVBoxLayout(host)
    box.addWidget(panel)
    box.addStretch(1)
    show(host, 340, 700)
    assert panel.height() >= panel.heightForWidth(panel.width())


def test_open_hold_points_are_counted(theme, show) -> None:
    panel = show(InstructionPanel(theme))
    panel.show_step(step("look"), DEVICE, 1, 5, (Gate("a:look", "A.", "B."), Gate("b:look", "C.", "D.")))
    assert panel.holds.text() == "2 hold points open"
    panel.set_gates(())
    assert panel.holds.isHidden()


# -- hold points

PHOTO = Gate("as-found:lift", "The as-found photo is missing.", "Take it before you touch anything.")
HELD = Gate("held:lift", "Still held by: Long screws.", "Take these off first.")


def test_photo_comes_first(theme, show, qtbot) -> None:
    bar = show(GateBar(theme))
    assert bar.isHidden() or not bar.gates
    bar.set_gates((HELD, PHOTO))
    assert [g.kind for g in bar.gates] == ["as-found", "held"]
    rows = [r for r in bar._rows if not r.isHidden()]
    assert rows[0].photo_first
    assert rows[0].accessibleName().startswith("Photo first")
    with qtbot.waitSignal(bar.chosen) as told:
        qtbot.keyClick(rows[1], Qt.Key.Key_Return)
    assert told.args == ["held:lift"]
    bar.set_gates(())
    assert bar.isHidden()


def test_hold_points_wrap_and_are_never_cut(theme, show, qtbot) -> None:
    host = QWidget()
    box = QVBoxLayout(host)
    bar = GateBar(theme)
    box.addWidget(bar)
    box.addStretch(1)
    show(host, 300, 600)
    bar.set_gates((replace(PHOTO, remedy="Take it before you touch anything. " * 6),))
    row = bar._rows[0]
    qtbot.waitUntil(lambda: row.height() >= row.heightForWidth(row.width()))


# -- camera


def frame(colour: str, width: int = 64, height: int = 36) -> QImage:
    image = QImage(width, height, QImage.Format.Format_RGB32)
    image.fill(QColor(colour))
    return image


def test_live_picture_keeps_its_aspect(theme, show) -> None:
    view = show(CameraView(theme), 600, 600)
    view.set_status("")
    view.set_frame(frame("#804020"))
    box = view.live_rect()
    assert box.width() / box.height() == pytest.approx(16 / 9, rel=0.01)
    image = painted(view)
    assert image.pixelColor(300, 300).name() == "#804020"
    assert image.pixelColor(300, 20).name() == DARK.picture
    assert view.accessibleDescription() == "live"


def test_a_lost_picture_is_never_shown_as_live(theme, show) -> None:
    view = show(CameraView(theme))
    view.set_status("")
    view.set_frame(frame("#804020"))
    view.set_status("camera lost since 4 s")
    view.set_frame(frame("#804020"))
    image = painted(view)
    colours = {image.pixelColor(x, y).name() for x in range(0, 600, 3) for y in range(0, 400, 3)}
    assert "#804020" not in colours
    assert view.accessibleDescription() == "camera lost since 4 s"
    view.set_status("")
    assert painted(view).pixelColor(300, 200).name() == "#804020"


def test_over_mixes_and_beside_shows_both(theme, show) -> None:
    view = show(CameraView(theme), 800, 300)
    view.set_status("")
    view.set_frame(frame("#000000"))
    view.set_mode("over")
    assert view.shown_mode == "live"  # nothing to lay over yet
    view.set_reference(frame("#ffffff"))
    view.set_opacity(0.25)
    assert painted(view).pixelColor(400, 200).red() == pytest.approx(64, abs=3)
    assert view.live_label == "live  +  as found 25 %"
    view.set_mode("beside")
    image = painted(view)
    assert image.pixelColor(200, 180).name() == "#ffffff"
    assert image.pixelColor(600, 180).name() == "#000000"
    view.set_reference(None)
    assert view.shown_mode == "live"


def test_opacity_is_clamped_and_modes_are_checked(theme, show) -> None:
    view = show(CameraView(theme))
    view.set_opacity(7)
    assert view.opacity == 1.0
    with pytest.raises(ValueError, match="live"):
        view.set_mode("both")


def test_outline_is_drawn_where_the_part_is(theme, show) -> None:
    view = show(CameraView(theme), 640, 360)
    view.set_status("")
    view.set_frame(frame("#404040"))
    view.set_outline(QRectF(0.5, 0.5, 0.25, 0.25))
    image = painted(view)
    near = QRect(310, 170, 20, 20)
    colours = {image.pixelColor(x, y).name() for x in range(near.left(), near.right())
               for y in range(near.top(), near.bottom())}  # fmt: skip
    assert DARK.picture_ink in colours


def test_fitted_survives_empty_sizes() -> None:
    assert fitted(QImage().size(), QRectF(0, 0, 10, 10)) == QRectF(0, 0, 10, 10)


def test_only_the_picture_is_repainted(theme, show, qtbot) -> None:
    view = show(CameraView(theme), 600, 600)
    view.set_status("")
    view.set_frame(frame("#101010"))
    painted(view)
    regions: list[QRect] = []

    class Watch(QObject):
        def eventFilter(self, _watched: QObject, event: QEvent) -> bool:
            if event.type() is QEvent.Type.Paint:
                regions.append(event.region().boundingRect())
            return False

    watch = Watch()
    view.installEventFilter(watch)
    view.update()
    qtbot.waitUntil(lambda: bool(regions))
    regions.clear()
    for shade in ("#202020", "#303030", "#404040"):
        view.set_frame(frame(shade))
    qtbot.waitUntil(lambda: bool(regions))
    assert all(view.live_rect().contains(region) for region in regions)


# -- device drawing


def test_legend_names_screws_by_letter_and_size(theme, show) -> None:
    view = show(DeviceView(theme))
    view.set_state(DEVICE, Ledger(), step("unscrew"))
    assert view.legend == ("B = 3 × M1.6 × 5 pan head, cross PH00",)
    assert "B = " in view.accessibleDescription()


def test_marks_are_drawn_at_the_places(theme, show) -> None:
    view = show(DeviceView(theme), 640, 480)
    view.set_state(DEVICE, Ledger(), step("unscrew"))
    accent = theme.palette.accent
    image = painted(view)
    spots = [(x, y) for x in range(640) for y in range(440) if image.pixelColor(x, y).name() == accent]
    assert any(x < 200 and y < 200 for x, y in spots)
    assert any(x > 440 and y < 200 for x, y in spots)
    assert any(x > 440 and y > 200 for x, y in spots)
    view.set_state(DEVICE, Ledger(), step("look"))
    image = painted(view)
    assert accent not in {image.pixelColor(x, y).name() for x in range(640) for y in range(440)}


def test_a_lid_that_is_out_hides_nothing(theme, show) -> None:
    view = show(DeviceView(theme), 640, 480)
    view.set_state(DEVICE, Ledger(), step("look"))
    closed = painted(view)
    view.set_state(DEVICE, take_off(Ledger(), "lid", 1, "", "lift"), step("look"))
    opened = painted(view)
    assert closed != opened

    def drawn(image: QImage) -> int:
        fill = theme.palette.raised
        return sum(image.pixelColor(x, y).name() == fill for x in range(0, 640, 4) for y in range(0, 440, 4))

    assert drawn(opened) < drawn(closed) / 4


def test_the_side_that_is_up(theme) -> None:
    assert face_of(DEVICE, step("look")) is Face.BACK
    assert face_of(DEVICE, replace_step("lift", parts=("badge",))) is Face.FRONT
    assert face_of(DEVICE, replace_step("lift", face=Face.FRONT)) is Face.FRONT


# -- stack


def test_last_out_lies_on_top(theme, show) -> None:
    view = show(StackView(theme), 260, 500)
    ledger = take_off(take_off(Ledger(), "long-screws", 3, "A1", "unscrew"), "lid", 1, "", "lift")
    ledger = take_off(ledger, "plug", 1, "", "unplug")
    view.set_ledger(ledger, DEVICE)
    assert view.rows[0] == "1 × Plug, open, still in place, goes back first"
    assert view.rows[2] == "3 × Long-screws, mat cell A1"
    assert view.count.text() == "5 pieces, 3 entries"
    view.set_ledger(put_back(ledger, "plug", 1), DEVICE)
    assert view.rows[0] == "1 × Lid, no mat cell, goes back first"
    view.set_ledger(Ledger(), DEVICE)
    assert view.rows == ()
    assert view.count.text() == "Nothing is out."


def test_counted() -> None:
    assert counted(take_off(Ledger(), "lid", 1, "", "lift")) == "1 piece"


def test_rows_of_the_stack_do_not_overlap(theme, show, qtbot) -> None:
    view = show(StackView(theme), 190, 300)
    ledger = Ledger()
    for number in range(12):
        ledger = take_off(ledger, ("lid", "plug", "long-screws")[number % 3], 1, "B2", "lift")
    view.set_ledger(ledger, DEVICE)
    painted(view)
    boxes = [view.list.visualItemRect(view.list.item(i)) for i in range(view.list.count())]
    assert all(a.bottom() < b.top() for a, b in pairwise(boxes))
    assert all(box.width() <= view.list.viewport().width() for box in boxes)


# -- rail


def state(here: int = 0, **marks: Mark) -> State:
    visits = tuple(Visit(name, START, touch_us=50_000_000) for name in marks)
    return State(
        JOB,
        status=Status.WORKING,
        here=here,
        marks={name: StepMark(mark) for name, mark in marks.items()},
        visits=visits,
    )


def test_segments_are_as_long_as_their_expected_time(theme, show) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(state())
    widths = [box.width() for box in rail.boxes]
    assert widths[1] > widths[0]
    assert sum(widths) == pytest.approx(900 - 2 * rail.boxes[0].left(), abs=1)
    # a cure of two hours is drawn, but does not squeeze the rest out of sight
    assert drawn_length(step("cure")) < 300


def test_time_and_state_of_a_segment() -> None:
    first, second, *_ = segments_of(state(2, look=Mark.DONE, unscrew=Mark.SKIPPED))
    assert (first.mark, first.over, first.filled) == (Mark.DONE, True, 1.0)
    assert (second.mark, second.over) == (Mark.SKIPPED, False)
    assert second.filled == pytest.approx(50 / 60)


def test_done_skipped_and_open_differ_by_shape(theme, show) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(state(3, look=Mark.DONE, unscrew=Mark.SKIPPED))
    image = painted(rail)
    ink = theme.colour("ink").lightness()
    ground = theme.colour("raised").lightness()
    shares = []
    for box in rail.boxes[:3]:
        y = round(box.bottom() - box.height() * 0.17)
        row = [
            image.pixelColor(x, y).lightness() for x in range(round(box.left()) + 4, round(box.right()) - 4)
        ]
        shares.append(sum(abs(tone - ink) < abs(tone - ground) for tone in row) / len(row))
    assert shares[0] > 0.95
    assert 0 < shares[1] < 0.8
    assert shares[2] == 0


def test_click_chooses_a_step(theme, show, qtbot) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(state())
    with qtbot.waitSignal(rail.step_chosen) as told:
        qtbot.mouseClick(rail, Qt.MouseButton.LeftButton, pos=rail.boxes[2].center().toPoint())
    assert told.args == ["lift"]


def test_arrows_look_and_return_chooses(theme, show, qtbot) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(state(1))
    chosen: list[str] = []
    rail.step_chosen.connect(chosen.append)
    with qtbot.waitSignal(rail.step_looked_at) as told:
        qtbot.keyClick(rail, Qt.Key.Key_Right)
    assert told.args == ["lift"]
    assert chosen == []
    assert "Lift the lid." in rail.accessibleDescription()
    qtbot.keyClick(rail, Qt.Key.Key_End)
    qtbot.keyClick(rail, Qt.Key.Key_Right)
    qtbot.keyClick(rail, Qt.Key.Key_Return)
    assert chosen == ["cure"]


def test_an_unchanged_state_is_not_painted_again(theme, show, qtbot) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(state(1))
    painted(rail)
    updates: list[int] = []
    rail.update = lambda *_: updates.append(1)  # type: ignore[method-assign]
    rail.set_state(state(1))
    assert updates == []
    rail.set_state(state(2))
    assert updates == [1]


def test_a_procedure_without_steps_is_drawn_empty(theme, show) -> None:
    rail = show(Rail(theme), 900, 90)
    rail.set_state(State(Job(DEVICE, PROCEDURE.model_copy(update={"steps": ()}))))
    painted(rail)
    assert rail.segments == ()


# -- times

FIGURES = ClockFigures(25, (20, 60), 1800, 420, 95, (START.wall, START.wall + timedelta(minutes=35)))


def test_finish_is_a_range(theme, show) -> None:
    strip = show(ClockStrip(theme), 1200, 80)
    strip.set_times(FIGURES)
    cells = {cell.caption: cell.value for cell in strip.cells}
    assert cells["Finish"] == "13:00 to 13:35"
    assert (cells["This step"], cells["Worked"], cells["Hold"]) == ("00:25", "30:00", "01:35")
    assert strip.cells[0].note == "usually 20 to 60 s"
    strip.set_times(replace(FIGURES, finish=None))
    assert strip.cells[-1].value == "cannot tell"


def test_more_time_than_usual_holds_and_doubt_are_told_in_words(theme, show) -> None:
    strip = show(ClockStrip(theme), 1200, 80)
    strip.set_times(replace(FIGURES, step_s=61, mode="hold", doubtful=True))
    captions = [cell.caption for cell in strip.cells]
    assert captions[0] == "This step, longer than usual"
    assert "Worked about" in captions
    assert strip.cells[1].value == "on hold"


def test_countdowns(theme, show) -> None:
    strip = show(ClockStrip(theme), 1200, 80)
    running = (CountdownFigure("heat", "rim", 61.2), CountdownFigure("cure", "seal", -3))
    strip.set_times(replace(FIGURES, countdowns=running))
    assert [(c.caption, c.value) for c in strip.cells[-2:]] == [
        ("Heat left, rim", "01:02"), ("Cure, seal", "due"),
    ]  # fmt: skip


def test_strip_wraps_instead_of_cutting(theme, show) -> None:
    strip = show(ClockStrip(theme), 300, 300)
    strip.set_times(FIGURES)
    assert strip.heightForWidth(300) > strip.heightForWidth(2000)
    assert all(place.right() <= 300 for place in strip._places(300))


# -- questions


@pytest.fixture
def host(theme, show):
    widget = QWidget()
    box = QVBoxLayout(widget)
    widget.before = QLineEdit()
    widget.bar = QuestionBar(theme)
    box.addWidget(widget.before)
    box.addWidget(widget.bar)
    show(widget, 900, 500)
    widget.before.setFocus()
    return widget


REASON = Field("reason", "Reason", "choice", ("break", "part missing"), "break")
NAME = Field("name", "Name")
VALUE = Field("value", "Voltage, V", "number")


def test_enter_answers_and_focus_goes_back(host, qtbot) -> None:
    qtbot.waitUntil(lambda: host.before.hasFocus())
    got: list[dict[str, str]] = []
    host.bar.ask("Why?", [NAME], "Hold", got.append)
    assert host.bar.is_open
    assert host.bar.isVisible()
    qtbot.keyClicks(QApplication.focusWidget(), "M. Anker")
    with qtbot.waitSignal(host.bar.closed) as told:
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    assert told.args == [True]
    assert got == [{"name": "M. Anker"}]
    assert not host.bar.isVisible()
    assert host.before.hasFocus()


def test_escape_cancels(host, qtbot) -> None:
    got: list[object] = []
    host.bar.ask("Why?", [NAME], "Hold", got.append, on_cancel=lambda: got.append("cancelled"))
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Escape)
    assert got == ["cancelled"]
    assert not host.bar.is_open


def test_escape_and_return_do_not_reach_shortcuts(host, qtbot) -> None:
    fired: list[str] = []
    for key in ("Esc", "Return"):
        action = QAction(host)
        action.setShortcut(QKeySequence(key))
        action.triggered.connect(lambda _=False, key=key: fired.append(key))
        host.addAction(action)
    host.activateWindow()
    got: list[object] = []
    host.bar.ask("Why?", [REASON], "Hold", got.append)
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    host.bar.ask("Why?", [NAME], "Hold", got.append)
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Escape)
    assert fired == []
    assert got == [{"reason": "break"}]


def test_what_is_missing_is_said_and_nothing_is_lost(host) -> None:
    got: list[object] = []
    host.bar.ask("Why?", [NAME, VALUE], "Keep", got.append)
    host.bar.set_value("value", "3,85")
    host.bar.accept()
    assert host.bar.message.text() == "Fill in: Name."
    assert host.bar.values()["value"] == "3,85"
    host.bar.set_value("name", "  M. Anker ")
    host.bar.accept()
    assert got == [{"name": "M. Anker", "value": "3.85"}]


@pytest.mark.parametrize("typed", ["abc", "nan", "inf", "1,234.5", "1e999", "3.8.5"])
def test_what_is_not_a_number_is_refused(host, typed: str) -> None:
    got: list[object] = []
    host.bar.ask("Value?", [VALUE], "Keep", got.append)
    host.bar.set_value("value", typed)
    host.bar.accept()
    assert got == []
    assert "is not a number" in host.bar.message.text()


@pytest.mark.parametrize(
    ("typed", "kept"), [("3.85", "3.85"), ("3,85", "3.85"), ("−12", "-12"), ("1e3", "1e3")]
)
def test_numbers_as_people_write_them(host, typed: str, kept: str) -> None:
    got: list[dict[str, str]] = []
    host.bar.ask("Value?", [VALUE], "Keep", got.append)
    host.bar.set_value("value", typed)
    host.bar.accept()
    assert got == [{"value": kept}]


def test_choices_few_and_many(host, qtbot) -> None:
    got: list[dict[str, str]] = []
    many = Field("many", "Part", "choice", tuple(f"part {i}" for i in range(20)))
    host.bar.ask("Which?", [REASON, many], "Keep", got.append)
    host.bar.accept()
    assert host.bar.message.text() == "Choose: Part."
    host.bar.set_value("many", "part 7")
    host.bar.set_value("reason", "part missing")
    host.bar.accept()
    assert got == [{"reason": "part missing", "many": "part 7"}]


def test_optional_field_may_stay_empty(host) -> None:
    got: list[dict[str, str]] = []
    host.bar.ask("Which?", [Field("address", "Address", required=False)], "Use", got.append)
    host.bar.accept()
    assert got == [{"address": ""}]


def test_a_new_question_cancels_the_open_one(host) -> None:
    got: list[object] = []
    host.bar.ask("First?", [NAME], "A", got.append, on_cancel=lambda: got.append("cancelled"))
    host.bar.ask("Second?", [], "B", got.append)
    assert got == ["cancelled"]
    host.bar.accept()
    assert got == ["cancelled", {}]
    host.bar.accept()
    assert len(got) == 2


def test_callback_may_ask_again(host) -> None:
    got: list[dict[str, str]] = []
    host.bar.ask("First?", [], "A", lambda _: host.bar.ask("Second?", [NAME], "B", got.append))
    host.bar.accept()
    assert host.bar.is_open
    assert host.bar.title.text() == "Second?"


# -- answers

LINES = tuple(CheckLine(id=f"l{i}", text=f"Line {i} works") for i in range(6))


def test_keyboard_answers_line_after_line(theme, show, qtbot) -> None:
    view = show(AnswerList(theme), 700, 400)
    view.set_lines(LINES, {"l0": Answer.WORKS})
    assert view.current == 1
    told: list[tuple[str, str]] = []
    view.answered.connect(lambda line, answer: told.append((line, answer)))
    qtbot.keyClick(view, Qt.Key.Key_2)
    qtbot.keyClick(view, Qt.Key.Key_4)
    qtbot.keyClick(view, Qt.Key.Key_Up)
    qtbot.keyClick(view, Qt.Key.Key_1)
    assert told == [("l1", Answer.FAILS), ("l2", Answer.NOT_PRESENT), ("l2", Answer.WORKS)]


def test_an_answer_is_shown_once_it_is_known_not_when_pressed(theme, show, qtbot) -> None:
    view = show(AnswerList(theme), 700, 400)
    view.set_lines(LINES, {})
    button = view._rows[0].buttons[1]
    with qtbot.waitSignal(view.answered):
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert not button.isChecked()
    view.set_lines(LINES, {"l0": "does not work"})
    assert button.isChecked()
    assert button.text() == "✓  does not work"
    assert view.title.text().startswith("1 of 6 answered")
    assert "does not work" in view._rows[0].accessibleName()


def test_current_line_stays_in_view(theme, show, qtbot) -> None:
    view = show(AnswerList(theme), 700, 300)
    view.set_lines(LINES, {line.id: "works" for line in LINES[:5]})
    row = view._rows[5]
    port = view.area.viewport()

    def in_view() -> bool:
        top = row.mapTo(port, QPoint(0, 0)).y()
        return top >= 0 and top + row.height() <= port.height() + 1

    qtbot.waitUntil(in_view)


def test_answers_of_a_narrow_list_take_two_lines(theme, show, qtbot) -> None:
    view = show(AnswerList(theme), 360, 500)
    view.set_lines(LINES, {"l0": "not present"})
    port, metrics = view.area.viewport(), QFontMetrics(theme.font(bold=True))

    def fits() -> bool:
        return all(
            button.mapTo(port, QPoint(button.width(), 0)).x() <= port.width()
            and metrics.horizontalAdvance(button.text()) < button.width()
            for button in view._rows[0].buttons
        )

    qtbot.waitUntil(fits)
    assert view._rows[0].buttons[2].y() > view._rows[0].buttons[0].y()
    view.resize(1200, 500)
    qtbot.waitUntil(lambda: view._rows[0].buttons[3].y() == view._rows[0].buttons[0].y())


def test_fewer_lines_in_the_next_step(theme, show, qtbot) -> None:
    view = show(AnswerList(theme), 700, 300)
    view.set_lines(LINES, {})
    view.set_lines(LINES[:2], {})
    assert sum(not row.isHidden() for row in view._rows) == 2
    view.set_lines((), {})
    with qtbot.assertNotEmitted(view.answered):
        qtbot.keyClick(view, Qt.Key.Key_1)


# -- after an interruption


def test_last_three_actions(theme, show, qtbot) -> None:
    card = show(RecentCard(theme), 700, 500)
    picture = QPixmap(64, 36)
    picture.fill(QColor("#804020"))
    card.set_actions([("one", None), ("two", None), ("three", picture), ("four", None)])
    assert "one" not in card.accessibleDescription()
    assert "two; three; four" in card.accessibleDescription()
    with qtbot.waitSignal(card.confirmed):
        qtbot.mouseClick(card.confirm, Qt.MouseButton.LeftButton)
    with qtbot.waitSignal(card.taken_back):
        qtbot.keyClick(card.take_back, Qt.Key.Key_Space)
    card.set_actions([])
    card.set_theme(theme)


# -- large keys


def test_key_follows_its_action(theme, show, qtbot) -> None:
    action = QAction("&Done, next")
    action.setShortcut(QKeySequence("PgDown"))
    key = show(BigKey(action, theme), 200, 80)
    assert (key.text(), key.key) == ("Done, next", "Page Down")
    assert key.sizeHint().height() >= theme.sizes.target
    assert key.sizeHint().width() >= theme.sizes.target
    with qtbot.waitSignal(action.triggered):
        qtbot.mouseClick(key, Qt.MouseButton.LeftButton)
    action.setEnabled(False)
    assert not key.isEnabled()
    other = QAction("Close record")
    key.set_action(other)
    assert (key.text(), key.isEnabled()) == ("Close record", True)
    fired: list[int] = []
    other.triggered.connect(lambda: fired.append(1))
    key.set_action(other)
    qtbot.mouseClick(key, Qt.MouseButton.LeftButton)
    assert fired == [1]
    action.setText("Elsewhere")
    assert key.text() == "Close record"


def test_click_leaves_the_focus_where_it_was(theme, show, qtbot) -> None:
    host = QWidget()
    box = QVBoxLayout(host)
    line, key = QLineEdit(), BigKey(None, theme, "Photo", "F")
    box.addWidget(line)
    box.addWidget(key)
    show(host)
    line.setFocus()
    qtbot.mouseClick(key, Qt.MouseButton.LeftButton)
    assert not key.hasFocus()


def test_key_opens_a_menu(theme, show, qtbot) -> None:
    key = show(BigKey(None, theme, "Note"), 200, 80)
    menu = QMenu(key)
    menu.addAction("Skip")
    key.show_menu(menu, "More")
    qtbot.mouseClick(key, Qt.MouseButton.LeftButton)
    assert menu.isVisible()
    menu.close()


# -- all of them


def every_widget(theme: Theme) -> list[QWidget]:
    card = RecentCard(theme)
    card.set_actions([("one", None)])
    gates, rail, device = GateBar(theme), Rail(theme), DeviceView(theme)
    rail.set_state(state(1, look=Mark.DONE))
    device.set_state(DEVICE, Ledger(), step("lift"))
    gates.set_gates((PHOTO, HELD))
    return [
        AnswerList(theme), BigKey(None, theme, "Next", "F"), CameraView(theme), ClockStrip(theme),
        CautionPanel(theme, SignalWord.NOTICE, "Mind it."), device, gates,
        InstructionPanel(theme), QuestionBar(theme), rail, card, StackView(theme),
    ]  # fmt: skip


def test_every_widget_has_an_accessible_name_and_changes_its_look(theme, show) -> None:
    other = Theme(LIGHT if theme.palette is DARK else DARK, sizes_for(150))
    for widget in every_widget(theme):
        show(widget)
        assert widget.accessibleName(), type(widget).__name__
        before = painted(widget)
        widget.set_theme(other)
        after = painted(widget)
        if isinstance(widget, BigKey | CautionPanel | DeviceView | GateBar | Rail):
            assert before != after, type(widget).__name__
        for child in widget.findChildren(QWidget):
            if hasattr(child, "theme"):
                assert child.theme is other


def test_device_drawn_at_any_size(theme, show) -> None:
    view = show(DeviceView(theme))
    view.set_state(DEVICE, Ledger(), step("lift"))
    for size in ((1, 1), (30, 400), (900, 40), (1600, 1200)):
        view.resize(*size)
        painted(view)


def test_rail_of_a_thousand_steps(theme, show) -> None:
    steps = tuple(replace_step("look", id=f"s{i}") for i in range(1000))
    rail = show(Rail(theme), 800, 90)
    rail.set_state(State(Job(DEVICE, PROCEDURE.model_copy(update={"steps": steps})), here=500))
    painted(rail)
    assert rail.boxes[-1].right() <= 800


def test_what_a_holder_holds_may_shrink_before_it_is_told(qtbot) -> None:
    from PySide6.QtCore import QCoreApplication
    from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout

    from benchguide.window.widgets.still import Still

    window, inner, wide = QWidget(), QWidget(), QWidget()
    wide.setMinimumWidth(900)
    row = QHBoxLayout(inner)
    row.addWidget(wide)
    QVBoxLayout(window).addWidget(Still(inner))
    qtbot.addWidget(window)
    window.show()
    assert window.minimumSizeHint().width() >= 900
    wide.hide()
    # another size comes first, and the wish for room after it
    row.invalidate()
    window.resize(1300, 400)
    window.layout().activate()
    QCoreApplication.sendPostedEvents()
    assert window.minimumSizeHint().width() < 900
