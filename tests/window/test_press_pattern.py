"""Presses told from edges alone, with the clock set by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchguide.window.press_pattern import Press, PressPattern, PressTimes


def play(pattern, *edges):
    """Edges as (kind, seconds); every awaited instant in between is honoured, as the timer would."""
    told = []
    for kind, at in edges:
        while pattern.due_s is not None and pattern.due_s < at:
            told.append(pattern.elapsed(pattern.due_s))
        told.append(getattr(pattern, kind)(at))
    while pattern.due_s is not None:
        told.append(pattern.elapsed(pattern.due_s))
    return [press for press in told if press]


def test_short_is_told_on_release_at_once():
    pattern = PressPattern()
    assert pattern.down(1.0) is None
    assert pattern.up(1.1) is Press.SHORT


def test_long_is_told_while_held_and_once():
    assert play(PressPattern(), ("down", 1.0), ("up", 3.0)) == [Press.LONG]


@pytest.mark.parametrize("gap", [0.005, 0.02])
def test_bounces_are_one_press(gap):
    edges = [("down", 1.0), ("up", 1.1), ("down", 1.1 + gap), ("up", 1.1 + gap + 0.01)]
    assert play(PressPattern(), *edges) == [Press.SHORT]


def test_a_touch_that_is_too_short_is_none():
    assert play(PressPattern(), ("down", 1.0), ("up", 1.01)) == []


def test_double_and_what_is_no_double():
    times = PressTimes(double_s=0.35)
    two = [("down", 1.0), ("up", 1.1), ("down", 1.2), ("up", 1.3)]
    assert play(PressPattern(times), *two) == [Press.DOUBLE]
    apart = [("down", 1.0), ("up", 1.1), ("down", 2.0), ("up", 2.1)]
    assert play(PressPattern(times), *apart) == [Press.SHORT, Press.SHORT]
    then_long = [("down", 1.0), ("up", 1.1), ("down", 1.2), ("up", 2.9)]
    assert play(PressPattern(times), *then_long)[-1] is Press.LONG


def test_a_press_the_window_lost_counts_for_nothing():
    pattern = PressPattern()
    pattern.down(1.0)
    pattern.forget()
    assert pattern.up(1.2) is None


@given(st.lists(st.floats(0.001, 2.0), min_size=2, max_size=40), st.floats(0, 0.5))
def test_never_more_presses_than_times_the_switch_closed(gaps, double_s):
    at, edges = 0.0, []
    for number, gap in enumerate(gaps):
        at += gap
        edges.append(("up" if number % 2 else "down", at))
    told = play(PressPattern(PressTimes(double_s=double_s)), *edges)
    assert len(told) <= sum(kind == "down" for kind, _ in edges)
