"""The farm lines on the pages about relays are sound; what a page says a board sends is what it sends."""

import json
import re
from pathlib import Path

import pytest

from docs.pages import ROOT
from gillhouse.config import load_files

HOW_TO = ROOT / "docs" / "how-to"
FARM = """\
farm: {name: Test farm (invented), zone: Europe/Rome, advise_only: no}
spaces:
  tent: {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
  room: {name: Room, kind: room, walk_in: yes, volume_m3: 30, crop: {species: lions-mane, stage: fruiting, kg: 40}}
"""  # noqa: E501


def parts(page: Path) -> list[str]:
    """What a page shows of a farm file."""
    return re.findall(
        r"```yaml\n# part of farm\.yaml[^\n]*\n(.*?)```", page.read_text(encoding="utf-8"), re.S
    )


@pytest.mark.parametrize(("page", "drivers"), [
    ("relays-here.md", [{"gpio"}, {"modbus"}]),
    ("boards.md", [{"mqtt"}]),
])  # fmt: skip
def test_the_farm_lines_are_sound(page: str, drivers: list[set[str]]) -> None:
    shown = parts(HOW_TO / page)
    assert len(shown) == len(drivers)
    for lines, expected in zip(shown, drivers, strict=True):
        config = load_files({"farm.yaml": FARM + lines})
        assert {wire.driver for wire in config.relay_wires.values()} == expected
        over_broker = [relay.over_broker for relay in config.farm.relays.values()]
        assert over_broker == [expected == {"mqtt"}] * len(over_broker)
        assert [warning for warning in config.warnings if "gpio.pin" in warning] == []


def test_the_other_way_round_is_warned_of() -> None:
    lines = parts(HOW_TO / "relays-here.md")[0].replace("{pin: 6}", "{pin: 26}")
    (warning,) = [text for text in load_files({"farm.yaml": FARM + lines}).warnings if "gpio.pin" in text]
    assert warning.startswith(
        "relays.tent-light.gpio.pin: 26 is pulled towards on from power-on until we start"
    )
    assert "use one of 2 to 8" in warning


def test_the_boards_page_names_every_key_of_its_settings() -> None:
    page = (HOW_TO / "boards.md").read_text(encoding="utf-8")
    shipped = json.loads((ROOT / "deploy" / "boards" / "board.json").read_text())
    relay = shipped["relays"]["fan"]
    for key in {*shipped, *relay, *relay["programme"]} - {"daemon_topic"}:
        assert f"`{key}`" in page or f"`{key}," in page, key
    for kind in ("sht3x", "sht4x", "si70xx", "scd4x", "scd30"):
        assert f"`{kind}`" in page


def test_messages_shown_are_json_and_have_the_keys_that_are_sent() -> None:
    page = (HOW_TO / "boards.md").read_text(encoding="utf-8")
    shown = [json.loads(text) for text in re.findall(r"`(\{\"[^`]*\})`", page)]
    source = (ROOT / "deploy" / "boards" / "station" / "loop.py").read_text(encoding="utf-8")
    keys = {key for message in shown for key in message}
    assert {"n", "t", "temp", "rh", "co2", "state", "left", "why", "on", "seconds", "until", "id"} == keys
    assert all(f'"{key}"' in source for key in ("n", "t", "state", "left", "why", "mode", "kept", "refused"))
