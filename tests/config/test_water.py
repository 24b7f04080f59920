"""Water lines and the hose in a farm file: what is read, what is assumed, what is warned of."""

from gillhouse.config import Config, load_files
from gillhouse.core.settings import HoseSettings, WaterSettings

FARM = """\
farm: {name: Test farm, zone: Europe/Rome}
spaces:
  barn:
    {name: Barn, kind: open, walk_in: yes, volume_m3: 9, crop: {species: shiitake, stage: fruiting, kg: 4}%s}
sensors:
  pipe: {zone: line, quantity: temperature, unit: degC, topic: a/b, format: number, every: 30 s}
%s
relays:
  barn-mist: {role: mist, space: barn, driver: memory, litres_per_h: 5%s}
%s
"""
COUNTER = """\
  inside:
    {space: barn, quantity: people, topic: a/c, format: words, words: {inside: "1", nobody: "0"}, every: 9 s}
"""


def read(hose: str = "", sensors: str = "", relay: str = "", more: str = "") -> Config:
    return load_files({"farm.yaml": FARM % (hose, sensors, relay, more)})


def flushing(config: Config) -> list[str]:
    return [line for line in config.warnings if line.startswith("water.flush")]


def test_what_holds_where_nothing_is_written() -> None:
    farm = read().farm
    assert farm.water == WaterSettings(2.0, None, 72 * 3_600_000, None)
    assert farm.spaces["barn"].hose == HoseSettings(0.15, 0.1, 3_600_000, 0.2)
    assert farm.relays["barn-mist"].hardness_mg_l is None


def test_every_figure_is_read() -> None:
    farm = read(
        hose=", hose: {film: 0.2, spare: 0.05, call: 90 min, shelter: 0.5}",
        relay=", hardness: 40",
        more="water: {drain_below: 1, hardness: 310, stood: 48 h, flush: 20 s}",
    ).farm
    assert farm.water == WaterSettings(1.0, 310.0, 48 * 3_600_000, 20_000)
    assert farm.spaces["barn"].hose == HoseSettings(0.2, 0.05, 5_400_000, 0.5)
    assert farm.relays["barn-mist"].hardness_mg_l == 40.0


def test_a_thermometer_on_the_farms_line_needs_no_space() -> None:
    sensor = read().farm.sensors["pipe"]
    assert (sensor.space, sensor.zone) == (None, "line")


def test_a_flush_that_can_never_come_is_warned_of() -> None:
    (line,) = flushing(read(more="water: {flush: 20 s}"))
    assert "barn-mist is never flushed by itself; add a people sensor" in line
    assert flushing(read(sensors=COUNTER, more="water: {flush: 20 s}")) == []
    assert flushing(read()) == []
