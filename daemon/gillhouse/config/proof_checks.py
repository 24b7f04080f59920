"""What proves that a load runs, and on/off inputs that come as numbers: keys that must agree.

Not here: words of contacts (`checks`), relays otherwise (`relay_checks`).
"""

from gillhouse.config import wire_file as wf
from gillhouse.config.draft import Draft
from gillhouse.config.nearest import choices
from gillhouse.config.references import must_exist
from gillhouse.config.tree import Key
from gillhouse.config.wording import got
from gillhouse.core.quantities import MEASURES, PROOFS, UNITS, Quantity
from gillhouse.core.statements import STATEMENTS


def check_number(draft: Draft, here: Key, sensor: wf.MeasuredGroup) -> None:
    """Of a sensor that sends a number: its unit, or what the number means where the input is on or off."""
    if not MEASURES[sensor.quantity].on_off:
        _unit(draft, here, sensor)
        return
    if sensor.quantity not in PROOFS:
        draft.sheet.add(
            (*here, "format"), f"{sensor.quantity} is on or off; write format: words, and name its two words"
        )
        return
    if (sensor.pulses is None) == (sensor.over is None):
        draft.sheet.add(
            here,
            f"{sensor.quantity} as a number needs either pulses (a count that grows: so much more since the"
            " last report means on) or over (on above this number), one of the two",
        )
    if sensor.unit not in (None, "1"):
        draft.sheet.add(
            (*here, "unit"),
            f"{sensor.quantity} is on or off, it has no unit (got {got(sensor.unit)}); delete it",
        )


def _unit(draft: Draft, here: Key, sensor: wf.MeasuredGroup) -> None:
    given = ", ".join(UNITS[sensor.quantity])
    if sensor.unit is None:
        draft.sheet.add((*here, "unit"), f"is missing; write one of: {given}")
    elif sensor.unit not in UNITS[sensor.quantity]:
        draft.sheet.add(
            (*here, "unit"),
            f"is no unit of {sensor.quantity} (got {got(sensor.unit)}); write one of: {given}",
        )
    for name in ("pulses", "over", "on_change"):
        if getattr(sensor, name) not in (None, False):
            draft.sheet.add(
                (*here, name), f"means nothing for {sensor.quantity}, which is measured; delete it"
            )


def check_guards(draft: Draft) -> None:
    """Proofs, what runs only with what, masters, mains, and statements of hardware."""
    for ident, relay in draft.relays.items():
        here: Key = ("relays", ident)
        for number, proof in enumerate(relay.proofs):
            _of_quantity(draft, proof.sensor, PROOFS, (*here, "proofs", number, "sensor"))
        for number, other in enumerate(relay.only_with):
            _runs_with(draft, ident, other, (*here, "only_with", number))
        if relay.master is not None:
            _master(draft, relay, (*here, "master"))
        if relay.mains is not None:
            _of_quantity(draft, relay.mains, (Quantity.MAINS,), (*here, "mains"))
        if relay.role == "alarm" and relay.lease is None:
            draft.sheet.add(
                (*here, "lease"),
                "none on an alarm relay: it would say that all is well after we died; use a board that drops"
                " out by itself",
            )
    mastered = {relay.master for relay in draft.relays.values()}
    for ident, relay in draft.relays.items():
        if relay.role == "master" and ident not in mastered:
            draft.sheet.add(
                ("relays", ident),
                "no relay names it, so it would never open; write master: of the relays behind it",
            )
    for name in draft.named("statements"):
        if name not in STATEMENTS:
            text = f"is nothing that can be stated; {choices(name, STATEMENTS)}"
            draft.sheet.add(("statements", name), text)


def _of_quantity(draft: Draft, name: str, wanted: tuple[Quantity, ...], key: Key) -> None:
    sensor = draft.sensors.get(name)
    if must_exist(draft, "sensors", name, key) and sensor is not None and sensor.quantity not in wanted:
        draft.sheet.add(key, f"{name} measures {sensor.quantity}; name one of: {', '.join(wanted)}")


def _runs_with(draft: Draft, ident: str, other: str, key: Key) -> None:
    if not must_exist(draft, "relays", other, key):
        return
    relay = draft.relays.get(other)
    if other == ident:
        draft.sheet.add(key, "names the relay itself; delete it")
    elif relay is not None and not relay.proofs:
        draft.sheet.add(key, f"{other} has no proofs, so nobody can see it run; add proofs to it")


def _master(draft: Draft, relay: wf.RelayGroup, key: Key) -> None:
    assert relay.master is not None
    upstream = draft.relays.get(relay.master)
    if must_exist(draft, "relays", relay.master, key) and upstream is not None and upstream.role != "master":
        draft.sheet.add(key, f"{relay.master} is a {upstream.role} relay; name one whose role is master")
