"""What preflight says of spoken commands, the microphone's volume and foot switches."""

import os
from pathlib import Path

import pytest

from benchguide.preflight import foot_switch, microphone_volume, spoken_commands
from benchguide.speech.system_volume import SystemVolume


def plugged(folder: Path, name: str, event: str, vendor: str, product: str) -> Path:
    """A device as the kernel shows it."""
    (folder / "dev").mkdir(exist_ok=True)
    (folder / "by-id").mkdir(exist_ok=True)
    node = folder / "dev" / event
    node.touch()
    (folder / "by-id" / name).symlink_to(node)
    identity = folder / "sys" / event / "device" / "id"
    identity.mkdir(parents=True)
    (identity / "vendor").write_text(f"{vendor}\n")
    (identity / "product").write_text(f"{product}\n")
    return node


def test_no_switch_is_no_fault(tmp_path: Path) -> None:
    assert foot_switch(tmp_path / "none", tmp_path).state == "fine"


def test_a_switch_that_may_not_be_read_gets_its_rule(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plugged(tmp_path, "usb-Pedal-event-kbd", "event7", "0C45", "7403")
    plugged(tmp_path, "usb-Mouse-event-mouse", "event8", "1111", "2222")
    assert foot_switch(tmp_path / "by-id", tmp_path / "sys").state == "fine"
    monkeypatch.setattr(os, "access", lambda *_: False)
    found = foot_switch(tmp_path / "by-id", tmp_path / "sys")
    assert found.state == "warning"
    assert 'ATTRS{idVendor}=="0c45", ATTRS{idProduct}=="7403", TAG+="uaccess"' in found.mend
    assert "1111" not in found.mend


def test_a_hostile_identity_is_not_printed_into_a_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plugged(tmp_path, "usb-Bad-event-kbd", "event9", "';rm -rf ~;'", "7403")
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert foot_switch(tmp_path / "by-id", tmp_path / "sys").mend == ""


def test_missing_packages_are_named_with_the_command() -> None:
    found = spoken_commands(lambda _name: None)
    assert found.state == "warning"
    assert "benchguide[voice]" in found.mend
    assert spoken_commands(lambda name: name).state == "fine"


def test_the_volume_far_down_is_a_finding() -> None:
    (found,) = microphone_volume(SystemVolume(12, False).warning)
    assert found.sentence == "The system's microphone volume is far down (12 %)."
    assert found.mend.startswith("pactl")
    assert microphone_volume(SystemVolume(90, False).warning) == []
