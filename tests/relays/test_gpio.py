"""Pins: levels at start, at the end and in between, one holder for each, and the way to the real chip."""

import subprocess
import sys
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory

from gillhouse.clock import VirtualClock
from gillhouse.core.edges import GpioPin, RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import RelayError
from gillhouse.relays import Relays
from gillhouse.relays.exclusive import Claim
from gillhouse.relays.gpio import machine_pins, pin_without_a_blip
from relays.ports import START_MS, ports_of
from relays.stands import pins_of
from servers import wait_until


def wire(relay: str, pin: int, **more: bool) -> RelayWire:
    return RelayWire(relay, "gpio", gpio=GpioPin(pin, **more))


def on(relay: str, lease_ms: int = 60_000) -> Command:
    return Command(relay, True, lease_ms, Authority.DEMAND, Reason.AIR_DRY)


class House:
    """Relays on gpiozero's pretended pins, on a clock moved by hand."""

    def __init__(self, *wires: RelayWire, factory: MockFactory | None = None) -> None:
        self.clock = VirtualClock(START_MS)
        own, self.levels = pins_of(self.clock)
        self.factory = factory or own
        self.told: list[RelayReport] = []
        self.ports = ports_of(self.told.append, self.clock, lambda chip: self.factory)
        self.relays = Relays.wired(wires, self.ports)

    def start(self) -> "House":
        self.relays.start(self.clock.now())
        self.settle()
        return self

    def settle(self) -> None:
        wait_until(lambda: all(keeper.at_rest() for keeper in self.ports.shared.values()), 10, "rest")

    def level(self, pin: int) -> bool:
        self.settle()
        return bool(self.factory.pin(f"GPIO{pin}").state)

    def function(self, pin: int) -> str:
        return str(self.factory.pin(f"GPIO{pin}").function)

    def stop(self) -> None:
        self.relays.close(self.clock.now())


@pytest.mark.parametrize("active_low", [True, False])
def test_off_before_during_and_after(active_low: bool) -> None:
    """Active low: on is low. A pulled-up pin that becomes an output never shows the on level on its way."""
    house = House(wire("fan", 5, active_low=active_low))
    off_level = active_low
    house.factory.pin("GPIO5").pull = "up" if active_low else "down"
    house.levels.clear()
    house.start()
    assert (house.level(5), house.function(5)) == (off_level, "output")
    assert house.levels == [(0, 5, off_level)]  # an output from then on, off, and not one edge
    house.relays.apply(on("fan"), house.clock.now())
    assert house.level(5) is not off_level
    house.stop()
    assert (bool(house.factory.pin("GPIO5").state), house.function(5)) == (off_level, "input")
    assert house.factory.pin("GPIO5").pull == ("up" if active_low else "down")


@pytest.mark.parametrize("active_low", [True, False])
def test_a_pin_found_on_is_off_as_it_becomes_an_output_and_pulled_to_off_at_the_end(active_low: bool) -> None:
    """Floating at the on level: the first level it drives is off, the last thing it gets is a pull to off."""
    house = House(wire("fan", 7, active_low=active_low))
    pin = house.factory.pin("GPIO7")
    pin.pull = "down" if active_low else "up"
    house.levels.clear()
    house.start()
    assert house.levels == [(0, 7, active_low)]
    house.stop()
    assert (pin.function, pin.pull, bool(pin.state)) == ("input", "up" if active_low else "down", active_low)


def test_the_real_pin_is_made_an_output_at_its_level_in_one_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no chip here: what is asked of lgpio is written down instead. Its documentation: the third
    argument of gpio_claim_output is the level the line has from the moment it is an output."""
    asked: list[tuple[object, ...]] = []
    monkeypatch.setattr("lgpio.gpio_claim_output", lambda *what: asked.append(what))

    class Standin:
        factory, _number = type("Factory", (), {"_handle": 3}), 17

    for level in (True, False):
        pin_without_a_blip().output_with_state(Standin(), level)
    assert asked == [(3, 17, 1), (3, 17, 0)]


def test_a_hung_core_still_lets_go() -> None:
    """Nobody says anything after the ON: the driver's own thread ends the lease, to the millisecond."""
    house = House(wire("fan", 5), wire("light", 6)).start()
    house.relays.apply(on("fan", 30_000), house.clock.now())
    house.relays.apply(on("light", 31_500), house.clock.now())
    house.settle()
    house.levels.clear()
    for at_ms in (29_999, 30_000, 31_499, 31_500):
        house.clock.advance_to(at_ms)
        house.settle()
    assert house.levels == [(30_000, 5, True), (31_500, 6, True)]
    house.stop()


def test_a_step_of_the_wall_clock_changes_no_lease() -> None:
    house = House(wire("fan", 5)).start()
    house.relays.apply(on("fan", 30_000), house.clock.now())
    house.settle()
    house.clock.step_wall(-365 * 86_400_000)
    house.clock.advance_to(29_999)
    assert house.level(5) is False
    house.clock.advance_to(30_000)
    assert house.level(5) is True
    house.stop()


def test_two_relays_on_one_pin_the_second_is_refused() -> None:
    house = House(wire("fan", 5), wire("light", 5)).start()
    gone = [report.relay for report in house.told if not report.available]
    assert "light" in gone
    with pytest.raises(RelayError, match="output is in use by another relay, fan"):
        house.relays.apply(on("light"), house.clock.now())
    house.stop()


def test_two_processes_on_one_pin_the_second_is_refused_until_the_first_is_gone() -> None:
    """The other process is killed, as a crash would: nothing of it is left that must be cleared away."""
    holder = subprocess.Popen(
        [sys.executable, "-c", "import sys; from gillhouse.relays.exclusive import Claim;"
         "one = Claim('gpio pin 5'); print('held', flush=True); sys.stdin.read()"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert holder.stdout is not None and holder.stdout.readline() == b"held\n"
    house = House(wire("fan", 5)).start()
    assert house.told == [RelayReport("fan", None, available=False)]
    with pytest.raises(RelayError, match="gpio pin 5 is in use"):
        house.relays.apply(on("fan"), house.clock.now())
    assert house.function(5) == "input"  # never touched
    holder.kill()
    holder.communicate()
    house.clock.advance_to(10_000)
    house.settle()
    assert house.told[1:] == [RelayReport("fan", False)]
    house.relays.apply(on("fan"), house.clock.now())
    assert house.level(5) is False
    house.stop()


def test_a_claim_is_free_again_once_released() -> None:
    first = Claim("test output")
    with pytest.raises(RelayError, match="test output is in use by another"):
        Claim("test output")
    first.release()
    Claim("test output").release()


def test_a_re_read_config_may_hand_a_pin_from_one_relay_to_another() -> None:
    """And what did not change goes on without a click."""
    house = House(wire("fan", 5), wire("light", 6), wire("stir", 7)).start()
    for relay in ("fan", "stir"):
        house.relays.apply(on(relay), house.clock.now())
    house.settle()
    house.levels.clear()
    changed = Relays.wired([wire("fan", 6), wire("light", 5), wire("stir", 7)], house.ports)
    changed.start(house.clock.now(), before=house.relays)
    house.settle()
    assert [house.function(pin) for pin in (5, 6, 7)] == ["output"] * 3
    assert [house.level(pin) for pin in (5, 6)] == [True, True]  # both off
    assert house.level(7) is False  # still on
    assert [(pin, level) for _, pin, level in house.levels if pin == 7] == []
    changed.apply(on("light"), house.clock.now())
    assert house.level(5) is False
    changed.close(house.clock.now())


def test_a_relay_that_is_advise_only_is_not_even_made_an_output() -> None:
    advised = RelayWire("fan", "gpio", gpio=GpioPin(5), advise_only=True)
    house = House(advised).start()
    assert house.function(5) == "input"
    house.relays.all_off(house.clock.now())
    house.stop()
    assert house.levels == []


def test_an_error_of_ours_lets_go_of_everything_and_says_so(caplog: pytest.LogCaptureFixture) -> None:
    house = House(wire("fan", 5)).start()
    house.relays.apply(on("fan"), house.clock.now())
    assert house.level(5) is False
    (keeper,) = house.ports.shared.values()
    keeper._box.put(lambda _: 1 / 0)
    wait_until(lambda: RelayReport("fan", None, available=False) in house.told, 10, "the news")
    assert bool(house.factory.pin("GPIO5").state) is True
    with pytest.raises(RelayError, match="its driver died"):
        house.relays.apply(on("fan"), house.clock.now())
    house.stop()


def test_a_machine_without_pins_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The real lgpio on the real machine, which has no /dev/gpiochip77. Nothing is left where we are."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RelayError, match=r"cannot be opened \(.*gpiochip.*usermod -aG gpio"):
        machine_pins(77)
    assert list(tmp_path.iterdir()) == []


def test_a_wire_without_a_pin_is_refused() -> None:
    with pytest.raises(ValueError, match="relay fan: driver gpio needs a pin"):
        House(RelayWire("fan", "gpio"))
