"""What a sound config becomes. Expected values: by hand from the lines in the test or the shipped file."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from gillhouse.commands.check import command
from gillhouse.config import load, load_files, shipped_dir
from gillhouse.core.crops import Stage
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Combine, SpaceKind, When
from gillhouse.errors import ConfigError

# Small invented farms to change one line of.
TENT = """\
farm: {name: Test farm, zone: Europe/Rome}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
"""

MIST = """\
relays:
  mist: {role: mist, space: tent, litres_per_h: 6, command: {topic: a/mist}}
"""


def of(text: str, **species: str):
    return load_files(
        {"farm.yaml": text} | {f"species/{name.replace('_', '-')}.yaml": t for name, t in species.items()}
    )


def test_shipped_farm_loads_and_warns_only_that_it_can_wake_nobody() -> None:
    """It has a topic of its own broker alone: what listens there nobody can know before the grower says."""
    config = load(shipped_dir() / "farm.yaml")
    assert [warning.partition(":")[0] for warning in config.warnings] == ["channels"]
    assert "NONE OF THEM CAN WAKE ANYONE" in config.warnings[0]
    assert list(config.farm.spaces) == ["room", "tent", "barn"]
    assert [space.kind for space in config.farm.spaces.values()] == [
        SpaceKind.ROOM,
        SpaceKind.TENT,
        SpaceKind.OPEN,
    ]
    assert config.farm.zone == ZoneInfo("Europe/Rome")
    assert (config.broker.host, config.broker.port, config.broker.tls) == ("127.0.0.1", 1883, False)
    assert {route.sensor for route in config.routes} == set(config.farm.sensors)
    assert set(config.relay_wires) == set(config.farm.relays)


def test_shipped_farm_drives_nothing() -> None:
    config = load(shipped_dir() / "farm.yaml")
    assert all(relay.advise_only for relay in config.farm.relays.values())


def test_one_line_lets_the_relays_go() -> None:
    text = (
        (shipped_dir() / "farm.yaml")
        .read_text(encoding="utf-8")
        .replace("advise_only: yes", "advise_only: no")
    )
    assert not any(relay.advise_only for relay in of(text).farm.relays.values())


def test_shipped_mist_wire_and_limits() -> None:
    config = load(shipped_dir() / "farm.yaml")
    mist, wire = config.farm.relays["room-mist"], config.relay_wires["room-mist"]
    assert (mist.pulse_ms, mist.pulse_gap_ms, mist.longest_run_ms, mist.lease_ms) == (
        10_000,
        60_000,
        60_000,
        120_000,
    )
    assert (mist.litres_per_h, mist.daily_litres, mist.tank, mist.echo_within_ms) == (
        24.0,
        60.0,
        "tank",
        5_000,
    )
    assert mist.only_door_closed
    assert mist.not_with_people
    assert wire.command_topic == "farm/room/mist/set"
    assert wire.payload_on == '{"on": true, "seconds": {seconds}, "until": {until}, "id": "{id}"}'
    assert (wire.state_path, wire.state_on, wire.available_on) == ("/state", "ON", "online")


def test_shipped_words_and_senml() -> None:
    routes = {route.sensor: route for route in load(shipped_dir() / "farm.yaml").routes}
    assert routes["room-people"].words == ("1", "0")
    assert routes["tank"].words == ("full", "empty")
    assert (routes["barn-rh"].senml_name, routes["barn-rh"].path) == ("barn:rh", None)
    assert (routes["room-rh"].time_path, routes["room-rh"].seq_path, routes["room-rh"].every_ms) == (
        "/at",
        "/n",
        30_000,
    )


def test_programmes() -> None:
    programmes = load(shipped_dir() / "farm.yaml").farm.programmes
    fallback, day = programmes["room-mist-fallback"], programmes["barn-mist-day"]
    assert (fallback.every_min, fallback.run_ms, fallback.night_run_ms) == (15, 10_000, 6_000)
    assert fallback.when is When.FALLBACK
    assert (day.cron, day.every_min, day.run_ms, day.night_run_ms) == (
        "*/30 7-20 * * *",
        None,
        30_000,
        30_000,
    )


def test_silence_is_three_intervals_and_at_least_two_minutes() -> None:
    """Common practice, no source: three missed reports; two minutes, so that one lost packet calls nobody."""
    sensors = load(shipped_dir() / "farm.yaml").farm.sensors
    assert sensors["room-rh"].silent_after_ms == 120_000  # 3.25 x 30 s is less
    assert sensors["out-rh"].silent_after_ms == 195_000  # 3.25 x 60 s: two lost reports are no silence


def test_own_figures_go_over_the_species_edge_by_edge() -> None:
    shipped = of(TENT).farm.spaces["tent"].bands[Quantity.HUMIDITY]
    own = of(TENT.replace("kg: 40}", "kg: 40}, bands: {humidity: {low: 90}}"))
    band = own.farm.spaces["tent"].bands[Quantity.HUMIDITY]
    assert band.low == 90.0
    assert (band.alarm_low, band.high, band.alarm_high) == (
        shipped.alarm_low,
        shipped.high,
        shipped.alarm_high,
    )
    assert band.source == f"low set in farm.yaml by the grower; the others: {shipped.source}"


def test_species_file_of_the_grower_overrides_per_figure() -> None:
    own = "stages:\n  fruiting:\n    co2: {high: 900}\n    light: {hours: 12, lux: 400, most_lux: 900}\n"
    config = of(TENT, lions_mane=own)
    before = of(TENT).species["lions-mane"].stages[Stage.FRUITING]
    after = config.species["lions-mane"].stages[Stage.FRUITING]
    assert after.co2.high == 900.0
    assert after.co2.alarm_high == before.co2.alarm_high
    assert (
        after.co2.source
        == f"high set in species/lions-mane.yaml by the grower; the others: {before.co2.source}"
    )
    assert after.light.source == "set in species/lions-mane.yaml by the grower"
    assert after.humidity == before.humidity


def test_species_mistake_names_its_own_file_and_line() -> None:
    with pytest.raises(ConfigError) as caught:
        of(TENT, lions_mane="stages:\n  fruiting:\n    co2: {high: 1500}\n")
    assert caught.value.mistakes == [
        "species/lions-mane.yaml:3:11: stages.fruiting.co2.high: 1500 is not below alarm_high (1000); "
        "high <= alarm_high is the order"
    ]


def test_species_folder_beside_the_farm_file(tmp_path: Path) -> None:
    (tmp_path / "species").mkdir()
    (tmp_path / "species" / "lions-mane.yaml").write_text("name: pom-pom\n", encoding="utf-8")
    (tmp_path / "farm.yaml").write_text(TENT, encoding="utf-8")
    assert load(tmp_path / "farm.yaml").species["lions-mane"].name == "pom-pom"


def test_files_give_the_same_config_again() -> None:
    config = load(shipped_dir() / "farm.yaml")
    again = load_files(config.files)
    assert again.digest == config.digest
    assert again.farm == config.farm
    assert again.routes == config.routes


def test_digest_follows_every_file_in_use() -> None:
    first = of(TENT)
    assert of(TENT + "# a note\n").digest != first.digest
    species = first.files["shipped/species/lions-mane.yaml"]
    changed = {**first.files, "shipped/species/lions-mane.yaml": species.replace("high: 800", "high: 790")}
    assert load_files(changed).digest != first.digest
    assert len(first.digest) == 64


def test_an_open_space_has_no_fresh_air_floor() -> None:
    assert of(TENT.replace("kind: tent", "kind: open")).farm.spaces["tent"].fresh_air_ach == 0.0


def test_combine_defaults() -> None:
    assert of(TENT).farm.spaces["tent"].combine == {
        Quantity.HUMIDITY: Combine.CALIBRATED,
        Quantity.TEMPERATURE: Combine.MEDIAN,
        Quantity.CO2: Combine.HIGHEST,
    }


def test_lease_none_with_a_hardware_limiter_is_taken_and_warned_of() -> None:
    text = MIST.replace(
        "litres_per_h", "lease: none, run_time_limiter: {cuts_after: 3 min, tested: 2026-05-02}, litres_per_h"
    )
    config = of(TENT + text)
    assert not config.farm.relays["mist"].own_timer
    assert any(warning.startswith("relays.mist.lease: none") for warning in config.warnings)


def test_heater_and_cooler_of_one_space_never_run_together() -> None:
    text = (
        "relays:\n  heat: {role: heater, space: tent, command: {topic: a/heat}}\n"
        "  cool: {role: cooler, space: tent, never_with: [lamp], command: {topic: a/cool}}\n"
        "  lamp: {role: light, space: tent, command: {topic: a/lamp}}\n"
    )
    relays = of(TENT + text).farm.relays
    assert relays["heat"].never_with == ("cool",)
    assert relays["cool"].never_with == ("heat", "lamp")
    assert relays["lamp"].never_with == ("cool",)


@pytest.mark.parametrize(
    ("host", "tls", "expected", "port"),
    [
        ("broker.lan", "", True, 8883),
        ("broker.lan", ", tls: off", False, 1883),
        ("localhost", "", False, 1883),
    ],
)
def test_broker_elsewhere_is_tls_unless_said(host: str, tls: str, expected: bool, port: int) -> None:
    config = of(TENT + f"broker: {{host: {host}{tls}}}\n")
    assert (config.broker.tls, config.broker.port) == (expected, port)
    assert any(w.startswith("broker.tls: off") for w in config.warnings) == (tls != "")


@pytest.mark.parametrize(("zone", "warned"), [("middle", True), ("intake", False)])
def test_self_calibrating_co2_in_a_closed_space_is_warned_of(zone: str, warned: bool) -> None:
    """In the intake it does see fresh air."""
    text = (
        f"sensors:\n  co2: {{space: tent, zone: {zone}, quantity: co2, unit: ppm, topic: a/co2,"
        " format: number, every: 30 s, self_calibrating: yes}\n"
    )
    config = of(TENT + text)
    assert config.farm.sensors["co2"].self_calibrating
    found = [one for one in config.warnings if one.startswith("sensors.co2.self_calibrating: yes")]
    assert bool(found) is warned


@pytest.mark.parametrize("calibrated", ["yes", "no"])
def test_a_target_over_93_is_only_wished_for_without_a_calibrated_sensor(
    calibrated: str, tmp_path: Path
) -> None:
    path = tmp_path / "farm.yaml"
    tent = TENT.replace("volume_m3: 9,", "volume_m3: 9, bands: {humidity: {target: 94, high: 96}},")
    path.write_text(
        tent + 'sensors:\n  rh: {space: tent, quantity: humidity, unit: "%", topic: a/rh, format: number,'
        f" every: 30 s, calibrated: {calibrated}}}\n",
        encoding="utf-8",
    )
    said = CliRunner().invoke(command, ["--config", str(path)]).output
    assert ("94 % is only wished for: kept near 93 %" in said) is (calibrated == "no"), said


def test_secret_file_must_be_its_owners_alone(tmp_path: Path) -> None:
    secret, farm = tmp_path / "secret", tmp_path / "farm.yaml"
    farm.write_text(TENT + "broker: {username: me, password_file: secret}\n", encoding="utf-8")
    secret.write_text("hunter2\n", encoding="utf-8")
    secret.chmod(0o644)
    with pytest.raises(ConfigError, match="can be read by others; run: chmod 600"):
        load(farm)
    secret.chmod(0o600)
    assert load(farm).broker.password_file == str(secret)


def test_check_says_what_it_understood() -> None:
    result = CliRunner().invoke(command, [])
    assert result.exit_code == 0
    for said in (
        "Room (room): room, 60 m3, people walk in",
        "humidity: keep 85 to 90 %, call somebody under 80 or over 95",
        "source: set by us inside figures looked up",
        "relay room-mist: mist, ADVISE ONLY, nothing is switched, lets go by itself",
        "Ana gets alarms of priority 1 (wakes someone)",
        "supply water: pump pump feeds room-mist, tent-mist, 1 at once",
    ):
        assert said in result.output
    assert result.output.count("Warning") == 1
    assert "Warning: channels: NONE OF THEM CAN WAKE ANYONE" in result.output
