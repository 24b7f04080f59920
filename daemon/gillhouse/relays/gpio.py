"""A relay on a pin of this machine, through gpiozero and lgpio (the extra `gpio`).

Safe by construction: a pin is made an output already at its off level, never on; at the end it goes off, then
becomes an input that is pulled towards off. Between power-on and our start, and after a kill, only a resistor
on the relay board's input holds it off: no program runs then. A pin's own level proves that we drive it, not
that the contact moved. Not here: leases and their ends (`keeper`).
"""

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from gillhouse.core.edges import GpioPin, RelayWire
from gillhouse.errors import RelayError
from gillhouse.relays.exclusive import Claim
from gillhouse.relays.kept import KeptDriver, Way
from gillhouse.relays.ports import Pins, Ports


def machine_pins(chip: int | None) -> Any:
    """The pins of this board.

    Raises:
        RelayError: there are none, or they may not be opened.
    """
    # lgpio leaves a pipe named .lgd-nfy in the folder it is imported from; ours may be read-only.
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    try:
        from gpiozero.pins.lgpio import LGPIOFactory

        factory = LGPIOFactory(chip=chip)
        factory.pin_class = pin_without_a_blip()
        return factory
    except ImportError as error:
        raise RelayError(f"the gpio extra is missing ({error}); pip install 'gillhouse[gpio]'") from error
    except Exception as error:  # lgpio.error and gpiozero's stand under Exception alone
        raise RelayError(
            f"the pins of this machine cannot be opened ({error}); is there a /dev/gpiochip, and is our user"
            " in its group (usermod -aG gpio gillhouse)?"
        ) from error


def pin_without_a_blip() -> Any:
    """gpiozero makes a pin an output first, low, and sets its level after: on, for a moment, where low is on.
    lgpio can do both at once."""
    import lgpio
    from gpiozero.pins.lgpio import LGPIOPin

    class Pin(LGPIOPin):  # type: ignore[misc]  # gpiozero has no types
        def output_with_state(self, state: bool) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(bool(state)))

    return Pin


class GpioBank:
    """The pins of one chip."""

    def __init__(self, pins: Pins, chip: int | None) -> None:
        self._open, self._chip = pins, chip
        self._factory: Any = None
        self._devices: dict[GpioPin, tuple[Claim, Any]] = {}

    def unit(self, place: GpioPin) -> int:
        return place.pin

    def hold(self, place: GpioPin) -> None:
        if place in self._devices:
            return
        claim = Claim(f"gpio {'' if place.chip is None else f'chip {place.chip} '}pin {place.pin}")
        try:
            if self._factory is None:
                self._factory = self._open(self._chip)
            from gpiozero import OutputDevice

            with _said(place):
                device = OutputDevice(
                    place.pin,
                    active_high=not place.active_low,
                    initial_value=False,
                    pin_factory=self._factory,
                )
        except RelayError:
            claim.release()
            raise
        self._devices[place] = (claim, device)

    def switch(self, place: GpioPin, on: bool) -> None:
        _, device = self._devices[place]
        with _said(place):
            (device.on if on else device.off)()

    def read(self, places: Sequence[GpioPin]) -> list[bool]:
        found = []
        for place in places:
            with _said(place):
                found.append(bool(self._devices[place][1].value))
        return found

    def release(self, place: GpioPin, answers: bool) -> None:
        held = self._devices.pop(place, None)
        if held is None:
            return
        claim, device = held
        try:
            pin = device.pin
            with _said(place):
                device.off()
            with _said(place):
                device.close()  # an input from here on: floating, so pull it to where off is
                pin.pull = "up" if place.active_low else "down"
        except RelayError:
            pass  # pins 2 and 3 are pulled up for good; whatever else fails, there is nothing left to do
        finally:
            claim.release()


class GpioDriver(KeptDriver[GpioPin]):
    """One relay on one pin."""

    def __init__(self, wire: RelayWire, ports: Ports) -> None:
        """
        Raises:
            ValueError: the wire names no pin (a config check prevents this).
        """
        pin = wire.gpio
        if pin is None:
            raise ValueError(f"relay {wire.relay}: driver gpio needs a pin")
        pins = ports.pins or machine_pins
        super().__init__(
            wire, ports, Way(("gpio", pin.chip), "this machine", pin, lambda: GpioBank(pins, pin.chip))
        )


@contextmanager
def _said(place: GpioPin) -> Iterator[None]:
    """Whatever gpiozero or lgpio raises, as a RelayError that names the pin."""
    try:
        yield
    except Exception as error:  # lgpio.error stands under Exception alone
        raise RelayError(f"gpio pin {place.pin}: {error}") from error
