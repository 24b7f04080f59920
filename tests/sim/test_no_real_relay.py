"""A trial of a farm whose relays hang on the machine itself moves none of them (fail-safe F25)."""

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse.commands.check import command
from gillhouse.config import load
from gillhouse.core.edges import GpioPin, ModbusCoil, ModbusLine, RelayWire
from gillhouse.sim.farm_copy import none_is_real, trial_config, trial_text
from gillhouse.sim.link import TrialError

FARM = """\
farm: {name: Test farm (invented), zone: UTC}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 40}}
relays:
  fan:
    role: fan
    space: tent
    air_m3_per_h: 100
    driver: gpio    # a comment
    gpio:
      pin: 5
      active_low: yes
    lease: 5 min
  mist:
    litres_per_h: 6
    modbus:
      host: 192.0.2.7
      coil: 3
    driver: "modbus"
    role: mist
    space: tent
    run_time_limiter: {cuts_after: 200 s, tested: 2026-11-02}
  light: {role: light, space: tent, gpio: {pin: 6}, driver: gpio, advise_only: yes}
  stir: {role: circulation, space: tent, driver: modbus, modbus: {serial: /dev/ttyUSB0, coil: 0}}
  other: {role: light, space: tent, command: {topic: farm/other/set}}
  kept: {role: light, space: tent, driver: memory}
"""


def test_every_relay_goes_behind_the_trials_broker(tmp_path: Path) -> None:
    config = trial_config({"farm.yaml": FARM}, tmp_path, 18_830)
    topics = {relay: wire.command_topic for relay, wire in config.relay_wires.items()}
    assert topics == {
        "fan": "trial/here/fan/set",
        "mist": "trial/here/mist/set",
        "light": "trial/here/light/set",
        "stir": "trial/here/stir/set",
        "other": "trial/farm/other/set",
        "kept": None,
    }
    assert all(wire.gpio is None and wire.modbus is None for wire in config.relay_wires.values())
    assert "# a comment" in trial_text(FARM)
    assert config.farm.relays["mist"].litres_per_h == 6


@pytest.mark.parametrize("wire", [
    RelayWire("fan", "gpio", gpio=GpioPin(5)),
    RelayWire("fan", "modbus", modbus=ModbusCoil(ModbusLine("192.0.2.7"), 0)),
    RelayWire("fan", "mqtt", "farm/fan/set"),
])  # fmt: skip
def test_with_a_real_relay_left_there_is_no_trial(wire: RelayWire) -> None:
    with pytest.raises(TrialError, match=r"relay fan would be the real one \((gpio|modbus|mqtt)\)"):
        none_is_real([RelayWire("kept", "memory"), wire])
    none_is_real([replace(wire, driver="mqtt", command_topic="trial/fan/set")])


def test_check_says_who_lets_go_and_where_they_are(tmp_path: Path) -> None:
    path = tmp_path / "farm.yaml"
    path.write_text(FARM)
    assert load(path).relay_wires["fan"].advise_only
    said = CliRunner().invoke(command, ["--config", str(path)]).output
    assert "relay fan: fan, ADVISE ONLY, nothing is switched, let go by this program alone, pin 5" in said
    assert "let go by this program alone, 192.0.2.7:502 device 1 coil 3" in said
