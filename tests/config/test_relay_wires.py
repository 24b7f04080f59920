"""Libraries a driver needs: named where they are missing, and only on the machine that will use them."""

import tomllib
from pathlib import Path

import pytest

from gillhouse.config import load, load_files, relay_wires
from gillhouse.errors import ConfigError

FARM = """\
farm: {name: Test farm (invented), zone: UTC}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
relays:
  light: {role: light, space: tent, driver: gpio, gpio: {pin: 6}}
"""


def test_a_missing_library_is_named_with_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(relay_wires.EXTRAS, "gpio", ("gpiozero", "a_library_that_is_not_here"))
    path = tmp_path / "farm.yaml"
    path.write_text(FARM)
    with pytest.raises(ConfigError) as caught:
        load(path)
    (mistake,) = caught.value.mistakes
    assert mistake.endswith(
        "relays.light.driver: gpio needs a_library_that_is_not_here, not installed here; run pip install"
        " 'gillhouse[gpio]' in the program's own environment"
    )


def test_a_night_can_be_read_again_where_they_are_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(relay_wires.EXTRAS, "gpio", ("a_library_that_is_not_here",))
    assert load_files({"farm.yaml": FARM}).relay_wires["light"].driver == "gpio"


def test_what_the_extras_bring_is_what_the_drivers_need() -> None:
    """pyproject.toml's extras, by the names one installs, and the modules they bring."""
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    brings = {"gpiozero": "gpiozero", "lgpio": "lgpio", "pymodbus": "pymodbus", "pyserial": "serial"}
    for driver, modules in relay_wires.EXTRAS.items():
        named = {name.split("~")[0].split("=")[0] for name in extras[driver]}
        assert {brings[name] for name in named} == set(modules)
