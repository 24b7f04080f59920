"""What each relay driver needs to be told, and what it cannot do.

A relay on a pin or a Modbus coil lets go only as long as this program runs: what floods or burns needs a
piece of hardware behind it. Not here: what relays must agree on otherwise (`relay_checks`).
"""

from importlib.util import find_spec

from gillhouse.config import wire_file as wf
from gillhouse.config.draft import Draft
from gillhouse.config.tree import Key

FLOOD_OR_BURN = ("mist", "heater", "pump", "uv")
"""Roles that hurt when they stay on: never on a board that cannot let go, unless hardware cuts them."""

OWN_KEYS = {
    "mqtt": ("command", "state", "available"),
    "memory": (),
    "gpio": ("gpio",),
    "modbus": ("modbus",),
}
"""The keys each driver is told by; every other driver's have no meaning beside it."""

NEEDED = {
    "gpio": "the pin the relay's input is wired to, as gpio: {pin: 5}",
    "modbus": "where the board is, as modbus: {host: 192.0.2.7, device: 1, coil: 0} or modbus: {serial:"
    " /dev/ttyUSB0, device: 1, coil: 0}",
}

EXTRAS = {"gpio": ("gpiozero", "lgpio"), "modbus": ("pymodbus", "serial")}
"""What an extra of this package brings, by driver."""


def check_wire(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    """Notes what one relay's driver lacks, and what means nothing to it."""
    here: Key = ("relays", ident)
    for key in sorted({key for keys in OWN_KEYS.values() for key in keys}):
        if getattr(relay, key) is not None and key not in OWN_KEYS[relay.driver]:
            fitting = next(driver for driver, keys in OWN_KEYS.items() if key in keys)
            draft.sheet.add(
                (*here, key),
                f"has no meaning with driver: {relay.driver}; delete it, or write driver: {fitting}",
            )
    if relay.driver in NEEDED and getattr(relay, relay.driver) is None:
        draft.sheet.add((*here, relay.driver), f"is missing; add {NEEDED[relay.driver]}")
    if relay.driver in NEEDED:
        _letting_go(draft, ident, relay)
    if relay.modbus is not None:
        _line(draft, (*here, "modbus"), relay.modbus)


def _letting_go(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    here: Key = ("relays", ident)
    if relay.lease is None:
        draft.sheet.add(
            (*here, "lease"),
            f"none has no meaning with driver: {relay.driver}, which lets go by itself; delete it",
        )
    elif relay.role in FLOOD_OR_BURN and relay.run_time_limiter is None:
        what = "a pin" if relay.driver == "gpio" else "a Modbus board"
        draft.sheet.add(
            (*here, "driver"),
            f"{relay.driver} on a {relay.role} relay: {what} stays as it is if this machine hangs or is cut"
            " off, and floods or burns; fit a hardware run-time limiter and state it under run_time_limiter"
            " (cuts_after, tested), or use a board that drops out by itself",
        )


def _line(draft: Draft, key: Key, given: wf.ModbusGroup) -> None:
    if (given.host is None) == (given.serial is None):
        draft.sheet.add(
            key, "needs either host (a board on the network) or serial (as /dev/ttyUSB0), one of the two"
        )


def check_places(draft: Draft) -> None:
    """Notes two relays on one pin or coil, and boards of one serial line that would speak differently."""
    seen: dict[object, str] = {}
    speech: dict[str, tuple[str, object]] = {}
    for ident, relay in draft.relays.items():
        here: Key = ("relays", ident)
        pin, coil = relay.gpio, relay.modbus
        if pin is not None:
            other = seen.setdefault(("pin", pin.chip, pin.pin), ident)
            if other != ident:
                draft.sheet.add(
                    (*here, "gpio", "pin"), f"{pin.pin} is {other}'s pin already; correct one of the two"
                )
        if coil is None:
            continue
        where = coil.serial or f"{coil.host}:{coil.port}"
        other = seen.setdefault(("coil", where, coil.device, coil.coil), ident)
        if other != ident:
            draft.sheet.add(
                (*here, "modbus", "coil"), f"{coil.coil} is {other}'s coil already; correct one of the two"
            )
        way = (coil.baud, coil.parity, coil.stop_bits, coil.timeout) if coil.serial else coil.timeout
        first, as_first = speech.setdefault(where, (ident, way))
        if way != as_first:
            draft.sheet.add(
                (*here, "modbus"),
                f"is on one line with {first}, but baud, parity, stop_bits or timeout differ; write the same"
                " for both",
            )


def check_extras(draft: Draft) -> None:
    """Notes drivers whose libraries are not installed on this machine."""
    for ident, relay in draft.relays.items():
        lacking = [name for name in EXTRAS.get(relay.driver, ()) if find_spec(name) is None]
        if lacking:
            draft.sheet.add(
                ("relays", ident, "driver"),
                f"{relay.driver} needs {' and '.join(lacking)}, not installed here; run pip install"
                f" 'gillhouse[{relay.driver}]' in the program's own environment",
            )
