"""Single pieces, unplanned parts, found items and the parts panel, with a real session, log and question bar."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtWidgets import QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot

sys.path.insert(0, str(Path(__file__).parent))
from bench_parts import Parts

from benchguide.procedure.words import REMOVALS, PartKind
from benchguide.session import commands as cmd
from benchguide.session import events as ev
from benchguide.session.look import empty_places, in_the_way_off, would_block
from benchguide.session.state import State
from benchguide.window import parts_words
from benchguide.window.actions import Actions
from benchguide.window.parts_commands import OFF, ON, PartsCommands, whole
from benchguide.window.parts_panel import PartsPanel
from benchguide.window.theme import DARK, LIGHT, Theme, apply_theme, sizes_on
from benchguide.window.widgets.question import QuestionBar

Key = Qt.Key


@pytest.fixture(params=[DARK, LIGHT], ids=["dark", "light"])
def theme(request: pytest.FixtureRequest, qapp: QApplication) -> Theme:
    made = Theme(request.param, sizes_on(qapp.primaryScreen(), 70))
    apply_theme(qapp, made)
    return made


@pytest.fixture
def parts(qtbot: QtBot, tmp_path: Path) -> Iterator[Parts]:
    made = Parts(tmp_path)
    yield made
    made.close()


class Asked:
    """The commands on a question bar, as the bench has them."""

    def __init__(self, qtbot: QtBot, theme: Theme, parts: Parts) -> None:
        self.owner = QWidget()
        qtbot.addWidget(self.owner)
        self.actions, self.question = Actions(self.owner), QuestionBar(theme, self.owner)
        self.hand = ""
        self.parts = parts
        self.commands = PartsCommands(self.actions, parts.driver, self.question, lambda: self.hand)
        self.refusals: list[str] = []
        parts.driver.refused.connect(lambda sentence, _gates: self.refusals.append(sentence))
        self.owner.show()

    def answer(self, action: str, **answers: str) -> None:
        """Raise the action, answer by field, accept."""
        self.actions[action].trigger()
        assert self.question.is_open, self.refusals
        for key, value in answers.items():
            self.question.set_value(key, value)
        self.question.accept()

    @property
    def state(self) -> State:
        return self.parts.driver.state

    def last(self) -> ev.Event:
        return self.state.recent[-1].what if self.state.recent else ev.Event()

    def choice(self, key: str, part: str) -> str:
        """The words under which a part is offered in the open question."""
        name = self.state.job.device.by_id[part].name
        field = next(f for f in self.question._fields if f.key == key)
        return next(words for words in field.choices if words.startswith(name))


@pytest.fixture
def asked(qtbot: QtBot, theme: Theme, parts: Parts) -> Asked:
    return Asked(qtbot, theme, parts)


def go_to_screws(parts: Parts) -> str:
    """Stand at the first removal of several screws that nothing bars; its part."""
    state = parts.driver.state
    for step in state.steps:
        if step.action not in REMOVALS or len(step.parts) != 1:
            continue
        part = state.job.device.by_id[step.parts[0]]
        if part.kind is PartKind.SCREWS and part.pieces > 1 and in_the_way_off(state, part.id).free:
            parts.driver.do(cmd.GoTo(step.id))
            photo = cmd.KeepPhoto("a" * 64, 640, 360, "2026-03-01T09:00:00+00:00", "test", "as-found")
            parts.driver.do(photo)
            return part.id
    raise AssertionError("no such step")


def test_pieces_come_out_one_by_one(asked: Asked) -> None:
    part = go_to_screws(asked.parts)
    pieces = asked.state.job.device.by_id[part].pieces
    for number in range(1, pieces + 1):
        asked.actions["one-piece"].trigger()
        assert asked.state.ledger.pieces_of(part) == number, asked.refusals
    assert parts_words.where_words(asked.state, part).startswith(f"{pieces} of {pieces} out, cell ")
    asked.actions["one-piece"].trigger()
    assert asked.refusals == ["Every piece of this step is out."]


def test_a_count_is_entered_and_mended_downwards(asked: Asked) -> None:
    part = go_to_screws(asked.parts)
    asked.answer("count-pieces", out="2", cell="F8")
    assert asked.state.ledger.pieces_of(part) == 2
    assert asked.state.ledger.out[-1].cell == "F8"
    asked.answer("count-pieces", out="1")
    assert asked.state.ledger.pieces_of(part) == 1
    asked.answer("count-pieces", out="1")
    assert asked.refusals == ["That is what the ledger says already."]
    asked.answer("count-pieces", out="99")
    assert "are in the device" in asked.refusals[-1]
    assert asked.state.ledger.pieces_of(part) == 1


def test_a_step_without_pieces_says_so(asked: Asked) -> None:
    asked.actions["one-piece"].trigger()
    asked.actions["count-pieces"].trigger()
    assert len(asked.refusals) == 2
    assert not asked.question.is_open


def test_something_else_came_off_and_went_back(asked: Asked) -> None:
    part = go_to_screws(asked.parts)
    asked.parts.driver.do(cmd.GoTo(asked.state.steps[0].id))
    asked.actions["unplanned"].trigger()
    asked.question.set_value("how", OFF)
    asked.question.set_value("part", asked.choice("part", part))
    asked.question.set_value("pieces", "1")
    asked.question.set_value("reason", "it stuck to the mat")
    asked.question.accept()
    assert asked.refusals == []
    assert asked.state.ledger.pieces_of(part) == 1
    asked.hand = part
    asked.actions["unplanned"].trigger()
    # the part in hand is the one that is offered first
    assert asked.question.values()["part"] == asked.choice("part", part)
    asked.question.set_value("how", ON)
    asked.question.accept()
    assert asked.state.ledger.pieces_of(part) == 0


def test_a_barred_part_says_by_what(asked: Asked) -> None:
    state = asked.state
    barred = next(
        p.id
        for p in state.job.device.parts
        if p.kind is PartKind.LOOSE and not in_the_way_off(state, p.id).free
    )
    asked.hand = barred
    asked.answer("unplanned", how=OFF)
    assert "still held or covered by" in asked.refusals[0]
    assert not asked.state.ledger.out


def test_a_found_item_is_entered_and_settled(asked: Asked) -> None:
    part = go_to_screws(asked.parts)
    asked.answer("extra", what="a short screw", cell="A1", reason="fell out of the case")
    assert [extra.what for extra in asked.state.ledger.extras] == ["a short screw"]
    asked.answer(
        "settle-extra", how="belongs to a part", reason="it is one of them", part=_offered(asked, part)
    )
    assert asked.state.ledger.extras == ()
    asked.actions["settle-extra"].trigger()
    assert asked.refusals == ["No found item waits for an answer."]


def _offered(asked: Asked, part: str) -> str:
    asked.actions["settle-extra"].trigger()
    words = asked.choice("part", part)
    asked.question.cancel()
    return words


def test_a_lost_and_a_replaced_screw_reconcile_the_count(asked: Asked) -> None:
    part = go_to_screws(asked.parts)
    asked.answer("count-pieces", out="2")
    asked.answer("account", pieces="1", what="lost", reason="rolled off the bench")
    assert asked.state.gone == {part: 1}
    asked.answer("account", pieces="1", what="new one laid ready", reason="from the drawer")
    assert asked.state.gone == {}
    asked.answer("account", pieces="1", what="left out on purpose", reason="the boss is broken")
    assert asked.state.gone == {part: 1}
    assert "1 of" in parts_words.where_words(asked.state, part)
    assert "gone" in parts_words.where_words(asked.state, part)
    assert empty_places(asked.state)[0].empty == 2


def test_released_commands_hear_nothing(asked: Asked) -> None:
    asked.commands.release()
    for name in ("one-piece", "count-pieces", "unplanned", "account", "extra", "settle-extra"):
        asked.actions[name].trigger()
    assert not asked.question.is_open
    assert asked.refusals == []


@pytest.mark.parametrize(
    ("text", "number"),
    [("3", 3), (" 3.0 ", 3), ("2,5", None), ("nan", None), ("inf", None), ("", None), ("-1", -1)],
)
def test_whole_numbers(text: str, number: int | None) -> None:
    assert whole(text) == number


# -- the panel


@pytest.fixture
def panel(qtbot: QtBot, theme: Theme, parts: Parts) -> PartsPanel:
    made = PartsPanel(theme)
    made.set_state(parts.driver.state)
    made.resize(780, 480)
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    return made


def spoken(panel: PartsPanel) -> str:
    return "\n".join(row.spoken for row in panel.answers.rows.rows)


def test_what_blocks_a_part_is_said_and_numbered_on_the_drawing(panel: PartsPanel, parts: Parts) -> None:
    state = parts.driver.state
    for part in state.job.device.parts:
        panel.show_part(part.id)
        assert panel.part == part.id
        way = in_the_way_off(state, part.id)
        for number, bar in enumerate(way.next, 1):
            row = next(r for r in panel.answers.rows.rows if r.key == f"off/{bar.part}")
            assert (row.strong, row.lead) == (state.job.device.by_id[bar.part].name, str(number))
        assert ("Nothing is in its way" in spoken(panel)) is way.free
        for gate in way.gates:
            assert gate.told in spoken(panel)
        on_face = {bar.part for bar in way.next if state.job.device.by_id[bar.part].face is part.face}
        assert {badge.part for badge in panel.map.badges()} == on_face


def test_what_the_step_would_block_is_said(panel: PartsPanel, parts: Parts) -> None:
    part = go_to_screws(parts)
    parts.driver.do(cmd.FinishStep())
    state = parts.driver.state
    assert state.ledger.pieces_of(part)
    refit = next(s for s in state.steps if s.action == "on" and s.parts and s.parts[0] == part)
    parts.driver.do(cmd.GoTo(refit.id))
    state = parts.driver.state
    blocked = would_block(state, state.step)
    panel.set_state(state)
    assert blocked.shut_in or blocked.must_wait
    for name in (*blocked.shut_in, *blocked.must_wait):
        assert state.job.device.by_id[name].name in spoken(panel)
        assert state.job.device.by_id[name].name in parts_words.blocked_words(state)


def test_empty_places_are_told_and_listed(panel: PartsPanel, parts: Parts) -> None:
    assert panel.told.text() == "No place is empty."
    part = go_to_screws(parts)
    parts.driver.do(cmd.PiecesOut(part, 1))
    panel.set_state(parts.driver.state)
    assert panel.told.text() == "1 place empty, of 1 part"
    panel.show_empty()
    assert [row.key for row in panel.list.rows.rows] == [part]
    assert "1 of" in panel.list.rows.rows[0].spoken


def test_a_part_is_chosen_by_search_list_and_click(qtbot: QtBot, panel: PartsPanel, parts: Parts) -> None:
    device = parts.driver.state.job.device
    known = next(p for p in device.parts if p.kind is PartKind.SCREWS)
    qtbot.keyClicks(panel.search, known.name)
    assert panel.list.rows.rows[0].key == known.id
    panel.show_part(device.parts[-1].id)
    assert panel.search.text() == ""
    panel.map.show_face(known.face)
    origin, scale = panel.map._scale()
    spot = (origin + QPointF(*known.places[0]) * scale).toPoint()
    qtbot.mouseClick(panel.map, Qt.MouseButton.LeftButton, pos=spot)
    assert panel.part == known.id
    with qtbot.waitSignal(panel.moved_asked) as signal:
        panel.moved.click()
    assert signal.args == [known.id]
    with qtbot.waitSignal(panel.left):
        qtbot.keyClick(panel.list, Key.Key_Escape)


def test_everything_has_a_name(panel: PartsPanel) -> None:
    for button in panel.findChildren(QPushButton):
        assert button.accessibleName()
    for each in (panel, panel.list, panel.answers, panel.map, panel.search):
        assert each.accessibleName()
    assert panel.minimumSizeHint().width() <= 780
