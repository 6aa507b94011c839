"""A foot switch as a key and as a device file (a FIFO of input events)."""

import os

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget

from benchguide.window.press_pattern import PressTimes
from benchguide.window.switch_device import EVENT, SwitchDevice, devices, udev_rule
from benchguide.window.switch_keys import LearntKey, SwitchKeys

KEY_F13 = 183  # linux/input-event-codes.h


@pytest.fixture
def switch(qtbot):
    keys = SwitchKeys(PressTimes(long_s=0.2, least_s=0.0))
    keys.start(QApplication.instance())
    yield keys
    keys.stop(QApplication.instance())


@pytest.fixture
def field(qtbot):
    window = QWidget()
    line = QLineEdit(window)
    qtbot.addWidget(window)
    window.show()
    qtbot.waitExposed(window)
    line.setFocus()
    yield line
    window.close()


def test_the_next_key_is_learnt_and_typed_nowhere(qtbot, switch, field):
    switch.learn()
    with qtbot.waitSignal(switch.learnt):
        QTest.keyClick(field, Qt.Key.Key_B)
    assert field.text() == ""
    assert switch.key.key == Qt.Key.Key_B


def test_a_learnt_key_is_heard_in_a_text_field_once_and_others_are_typed(qtbot, switch, field):
    switch.key = LearntKey(int(Qt.Key.Key_B), 0)
    told = []
    switch.pressed.connect(told.append)
    QTest.keyClick(field, Qt.Key.Key_B)
    QTest.keyClick(field, Qt.Key.Key_A)
    assert told == ["short"]
    assert field.text() == "a"


def test_holding_it_is_a_long_press(qtbot, switch, field):
    switch.key = LearntKey(int(Qt.Key.Key_PageDown), 0)
    with qtbot.waitSignal(switch.pressed) as told:
        QTest.keyPress(field, Qt.Key.Key_PageDown)
    assert told.args == ["long"]
    QTest.keyRelease(field, Qt.Key.Key_PageDown)


@pytest.fixture
def fifo(tmp_path):
    path = tmp_path / "usb-Test_switch-event-kbd"
    os.mkfifo(path)
    writer = os.open(path, os.O_RDWR)
    yield path, writer
    os.close(writer)


def press(writer, code, value):
    os.write(writer, EVENT.pack(0, 0, 1, code, value) + EVENT.pack(0, 0, 0, 0, 0))


def test_presses_come_from_the_device_without_repeats(qtbot, fifo, switch):
    path, writer = fifo
    device = SwitchDevice(path)
    device.key.connect(switch.device_key)
    switch.key = LearntKey(0, KEY_F13 + 8)
    device.start()
    assert device.heard
    with qtbot.waitSignal(switch.pressed) as told:
        press(writer, KEY_F13, 1)
        press(writer, KEY_F13, 2)
        press(writer, KEY_F13, 0)
    assert told.args == ["short"]
    device.stop()
    assert not device.heard


def test_a_key_learnt_from_the_device_fits_the_same_key_of_the_window(qtbot, fifo, switch):
    path, writer = fifo
    device = SwitchDevice(path)
    device.key.connect(switch.device_key)
    device.start()
    switch.learn()
    with qtbot.waitSignal(switch.learnt):
        press(writer, KEY_F13, 1)
    assert switch.key == LearntKey(0, 191)  # the X key code of F13
    device.stop()


def test_half_an_event_is_kept_until_the_rest_comes(qtbot, fifo):
    path, writer = fifo
    device = SwitchDevice(path)
    heard = []
    device.key.connect(lambda code, down: heard.append((code, down)))
    device.start()
    whole = EVENT.pack(0, 0, 1, 30, 1)
    os.write(writer, whole[:7])
    qtbot.wait(30)
    os.write(writer, whole[7:])
    qtbot.waitUntil(lambda: heard == [(30, True)])
    device.stop()


def test_a_missing_switch_is_told_and_found_when_it_comes(qtbot, tmp_path, monkeypatch):
    monkeypatch.setattr("benchguide.window.switch_device.REOPEN_MS", 20)
    path = tmp_path / "usb-Late_switch-event-kbd"
    device = SwitchDevice(path)
    told = []
    device.state_changed.connect(lambda heard, sentence: told.append((heard, sentence)))
    device.start()
    assert told[-1] == (False, f"The switch {path.name} is not plugged in.")
    os.mkfifo(path)
    writer = os.open(path, os.O_RDWR)
    qtbot.waitUntil(lambda: device.heard)
    assert told[-1][0]
    device.stop()
    os.close(writer)


def test_a_switch_that_may_not_be_read_names_the_remedy(qtbot, tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("benchguide.window.switch_device.os.open", refuse)
    device = SwitchDevice(tmp_path / "x-kbd")
    with qtbot.waitSignal(device.state_changed) as told:
        device.start()
    assert "preflight" in told.args[1]
    device.stop()


def test_names_and_rule(tmp_path):
    (tmp_path / "usb-A-event-kbd").touch()
    (tmp_path / "usb-B-event-mouse").touch()
    assert [path.name for path in devices(tmp_path)] == ["usb-A-event-kbd"]
    assert devices(tmp_path / "none") == ()
    assert 'ATTRS{idVendor}=="0c45"' in udev_rule("0C45", "7403")
    with pytest.raises(ValueError, match="four hexadecimal digits"):
        udev_rule("12", "abcd")
