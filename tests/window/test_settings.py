"""Settings survive a restart, and a broken file never stops the program."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchguide.window.settings import Settings, distance_for, load_settings, save_settings


def test_settings_come_back_as_they_were_kept(tmp_path: Path) -> None:
    kept = replace(Settings(), theme="light", distance_cm=180, person="Ada", camera="video:/x.avi")
    save_settings(tmp_path, kept)
    assert load_settings(tmp_path) == kept


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"theme": 3, "distance_cm": "far", "unknown": 1}'])
def test_a_broken_file_gives_the_defaults(tmp_path: Path, text: str) -> None:
    (tmp_path / "settings.json").write_text(text, encoding="utf-8")
    assert load_settings(tmp_path) == Settings()


def test_values_out_of_range_are_pulled_in(tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text('{"theme": "pink", "distance_cm": 9000}', encoding="utf-8")
    assert (load_settings(tmp_path).theme, load_settings(tmp_path).distance_cm) == ("dark", 300)


def test_the_distance_follows_the_screen_until_somebody_says_so() -> None:
    assert (distance_for(Settings(), 1080), distance_for(Settings(), 800)) == (100, 80)
    assert distance_for(replace(Settings(), distance_cm=150), 800) == 150
