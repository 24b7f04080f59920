"""Several crops in one space, and the kinds of space. Expected figures: by hand from the shipped species
files (grey oyster fruiting: humidity 85-90, alarms 80 and 95; shiitake rest: 75-85, alarms 60 and 90)."""

import re

import pytest
from click.testing import CliRunner

from gillhouse.commands.check import command
from gillhouse.config import load_files, shipped_dir
from gillhouse.core.crops import Stage
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import CropShare, SpaceKind

FARM = "farm: {name: Test farm, zone: Europe/Rome}\nspaces:\n"
ROOM = "  room:\n    name: Room\n    kind: room\n    walk_in: no\n    volume_m3: 60\n"
OYSTER = "{species: grey-oyster, stage: fruiting, kg: 100}"


def crops(*entries: str) -> str:
    return FARM + ROOM + "    crops:\n" + "".join(f"      - {entry}\n" for entry in entries)


def room(text: str):
    return load_files({"farm.yaml": text}).farm.spaces["room"]


def test_two_crops_that_agree_share_what_both_want():
    space = room(crops(OYSTER, "{species: lions-mane, stage: fruiting, kg: 40}"))
    humidity = space.bands[Quantity.HUMIDITY]
    # lion's mane fruiting: 87-94, alarms 80 and 97
    assert (humidity.alarm_low, humidity.low, humidity.high, humidity.alarm_high) == (80, 87, 90, 95)
    assert space.bands[Quantity.CO2].high == 800
    assert (space.species, space.stage, space.crop_kg) == ("grey-oyster", Stage.FRUITING, 140)
    assert space.fresh_air_ach == 3
    assert space.fresh_air_m3_per_h == pytest.approx(6.2)  # 100 x 0.05 + 40 x 0.03
    assert space.clashes == ()


def test_the_crop_with_priority_wins_a_clash():
    rest = "{species: shiitake, stage: rest, kg: 300}"
    space = room(crops(OYSTER.replace("kg: 100", "kg: 100, priority: yes"), rest))
    humidity = space.bands[Quantity.HUMIDITY]
    assert (humidity.low, humidity.high) == (85, 90)
    assert (space.species, space.stage) == ("grey-oyster", Stage.FRUITING)
    assert [(clash.quantity, clash.kept) for clash in space.clashes] == [
        (Quantity.HUMIDITY, "grey-oyster"),
        (Quantity.TEMPERATURE, "grey-oyster"),
    ]
    assert space.crops[1] == CropShare("shiitake", Stage.REST, 300.0, False)


def test_without_priority_the_heavier_wins_and_it_is_warned_of():
    config = load_files({"farm.yaml": crops(OYSTER, "{species: shiitake, stage: rest, kg: 300}")})
    assert config.farm.spaces["room"].species == "shiitake"
    assert (
        "spaces.room.crops: humidity: shiitake (rest) wants 75 to 85 %, grey oyster (fruiting) wants 85 to"
        " 90 %; both cannot be had, it is kept for shiitake, of which there is more; set priority to choose"
    ) in config.warnings


def test_own_figures_go_over_what_the_crops_agree_on():
    text = (
        crops(OYSTER, "{species: lions-mane, stage: fruiting, kg: 40}") + "    bands: {humidity: {low: 88}}\n"
    )
    humidity = room(text).bands[Quantity.HUMIDITY]
    assert (humidity.low, humidity.high) == (88, 90)
    assert humidity.source.startswith(
        "low set in farm.yaml by the grower; the others: what all crops here share"
    )


def test_check_shows_the_bands_the_sources_and_the_clash(tmp_path):
    path = tmp_path / "farm.yaml"
    rest = "{species: shiitake, stage: rest, kg: 300}"
    path.write_text(crops(OYSTER.replace("kg: 100", "kg: 100, priority: yes"), rest), encoding="utf-8")
    said = CliRunner().invoke(command, ["--config", str(path)]).output
    for line in (
        "  crop: 100 kg grey oyster (Pleurotus ostreatus), fruiting, has priority",
        "    usually: flushes 2 to 4, days between them 7 to 14, biological efficiency 75 to 110 %",
        "  crop: 300 kg shiitake (Lentinula edodes), rest",
        "  CLASH: humidity: grey oyster (fruiting) wants 85 to 90 %, shiitake (rest) wants 75 to 85 %; both"
        " cannot be had, it is kept for grey oyster, which has priority",
        "  humidity: keep 85 to 90 %, call somebody under 80 or over 95",
        "    source: shiitake (rest) gives way; for grey-oyster, fruiting: set by us inside",
        "  least fresh air: 5 m3/h for the weight of the crop while CO2 is measured, else 2 air changes an"
        " hour",
    ):
        assert line in said


def test_a_cold_store_grows_nothing():
    text = FARM + "  room: {name: Store, kind: cold store, walk_in: no, volume_m3: 9}\n"
    config = load_files({"farm.yaml": text})
    space = config.farm.spaces["room"]
    assert space.kind is SpaceKind.COLD_STORE
    assert (space.crop_kg, space.crops, space.fresh_air_ach) == (0.0, (), 0.0)
    cold = space.bands[Quantity.TEMPERATURE]
    assert (cold.alarm_low, cold.low, cold.high) == (None, 1, 4)
    assert space.bands[Quantity.HUMIDITY].low is None
    assert [warning.split(": ")[1] for warning in config.warnings if "spaces.room" in warning] == [
        "nothing measures its temperature",
        "no door switch",
    ]


def test_check_tells_of_the_kinds_limits(tmp_path):
    path = tmp_path / "farm.yaml"
    run = "  run:\n    {name: Run, kind: spawn run, walk_in: no, volume_m3: 60,"
    run += " crop: {species: king-oyster, stage: spawn run, kg: 500}}\n"
    cold = "  cold: {name: Cold, kind: cold store, walk_in: no, volume_m3: 9}\n"
    path.write_text(FARM + run + cold, encoding="utf-8")
    said = CliRunner().invoke(command, ["--config", str(path)]).output
    assert "  inside a block: over 28 C calls somebody (a sensor with zone: core)" in said
    assert "  too warm: over 5 C for 30 min calls somebody" in said
    assert "Cold (cold): cold store, 9 m3, nobody walks in\n  temperature: keep 1 to 4 C" in said
    assert "Warning: spaces.run: no sensor inside a block" in said


def test_a_spawn_run_with_a_fruiting_crop_is_warned_of():
    text = FARM + ROOM.replace("kind: room", "kind: spawn run") + f"    crop: {OYSTER}\n"
    warnings = load_files({"farm.yaml": text}).warnings
    assert any("a spawn run holds a crop in fruiting" in warning for warning in warnings)


def test_the_examples_in_the_shipped_file_are_sound_once_uncommented():
    text = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    one = re.search(r"\n    crop: \{species: grey-oyster, [^\n]*", text)
    text = text.replace(one[0], "")
    text = re.sub(r"\n    # (crops:|  - \{species)", r"\n    \1", text)
    text = re.sub(r"\n  # (run:|cold:|  \{name)", r"\n  \1", text)
    spaces = load_files({"farm.yaml": text}).farm.spaces
    assert [space.kind.value for space in spaces.values()] == [
        "room",
        "tent",
        "open",
        "spawn run",
        "cold store",
    ]
    assert [(crop.species, crop.priority) for crop in spaces["room"].crops] == [
        ("grey-oyster", True),
        ("lions-mane", False),
    ]


def test_check_of_the_shipped_farm_tells_no_fresh_air_of_an_open_space_and_no_span_of_one_figure():
    said = CliRunner().invoke(command, []).output
    barn = said.split("Barn (barn)")[1].split("Shared by all")[0]
    assert "crop: 600 kg shiitake" in barn
    assert "least fresh air" not in barn  # the wind sees to it
    assert "days between them 14, " in said.split("Tent (tent)")[1]
