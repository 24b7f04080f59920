"""The conditions behind the alarms: which there are, and whether each holds now.

Nothing here delays, repeats or suppresses anything (see `alarm`). Limits are compared whenever an estimate
changes; only what changed is told, and everything is told with fresh facts when a delay runs out. A value
that is not fresh makes a condition unknown: it neither starts nor ends an alarm.

CO2 limits for people stand apart from the crop's. They hold in every space people can walk into and no
file can raise them.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from gillhouse.core import capacity, effect_watch
from gillhouse.core.alarm import Condition, Side, alarm_id, beyond
from gillhouse.core.alarm_kinds import KINDS, PEOPLE_LIMITS, TIMING, deadband
from gillhouse.core.covered import covered_by
from gillhouse.core.crops import Band
from gillhouse.core.echo import Proof, proof
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import LOCAL, Link
from gillhouse.core.instant import Instant
from gillhouse.core.kind_limits import DEADBAND_C, kind_limits
from gillhouse.core.outputs import Facts
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark
from gillhouse.core.settings import FarmSettings, Role, SpaceKind, SpaceSettings
from gillhouse.core.space_plan import AIR_QUANTITIES

_LIMIT_KINDS: tuple[tuple[Quantity, Side, str], ...] = (
    (Quantity.HUMIDITY, Side.LOW, "humidity-low"),
    (Quantity.HUMIDITY, Side.HIGH, "humidity-high"),
    (Quantity.TEMPERATURE, Side.LOW, "temperature-low"),
    (Quantity.TEMPERATURE, Side.HIGH, "temperature-high"),
    (Quantity.CO2, Side.HIGH, "co2-high"),
    (Quantity.CO2, Side.LOW, "co2-low"),
)


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one space."""

    kind: str
    space: str
    quantity: Quantity
    side: Side
    limit: float
    deadband: float
    on_delay_ms: int | None
    """None: the kind's, as for every limit that protects people."""
    off_delay_ms: int | None
    people: bool
    key: str
    """Id of its alarm."""
    sensor: str | None = None
    """The one sensor that is compared; None: the space's air."""


LimitsOf = dict[str, dict[Quantity, tuple[Limit, ...]]]
"""Limits by space and quantity."""


def limits(settings: FarmSettings) -> LimitsOf:
    """Every limit that is watched, by space and quantity."""
    found: dict[str, dict[Quantity, tuple[Limit, ...]]] = {}
    for space in settings.spaces.values():
        own = [*_crop_limits(settings, space), *_people_limits(space), *_kind_limits(settings, space)]
        found[space.id] = {
            quantity: tuple(limit for limit in own if limit.quantity is quantity)
            for quantity in (Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2)
        }
    return found


def _crop_limits(settings: FarmSettings, space: SpaceSettings) -> Iterable[Limit]:
    for quantity, side, kind in _LIMIT_KINDS:
        edge = _edge(space.bands.get(quantity), side)
        if edge is not None:
            timing = settings.alarms.timing.get(quantity) or TIMING[quantity]
            band = deadband(quantity, edge, timing)
            on_ms, off_ms = timing.on_delay_ms, timing.off_delay_ms
            yield Limit(
                kind, space.id, quantity, side, edge, band, on_ms, off_ms, False, alarm_id(kind, space.id)
            )


def _edge(band: Band | None, side: Side) -> float | None:
    if band is None:
        return None
    return band.alarm_low if side is Side.LOW else band.alarm_high


def _people_limits(space: SpaceSettings) -> Iterable[Limit]:
    if not space.walk_in:
        return
    for kind, ppm in PEOPLE_LIMITS:
        band = deadband(Quantity.CO2, ppm, TIMING[Quantity.CO2])
        key = alarm_id(kind, space.id)
        yield Limit(kind, space.id, Quantity.CO2, Side.HIGH, ppm, band, None, None, True, key)


def _kind_limits(settings: FarmSettings, space: SpaceSettings) -> Iterable[Limit]:
    for own in kind_limits(settings, space):
        key = alarm_id(own.kind, own.sensor or own.space)
        yield Limit(
            own.kind,
            own.space,
            Quantity.TEMPERATURE,
            Side.HIGH,
            own.limit_c,
            DEADBAND_C,
            None,
            None,
            False,
            key,
            own.sensor,
        )


# --- whether it holds ----------------------------------------------------------------------------------


def compare(plan: Plan, state: State, own: tuple[Limit, ...]) -> tuple[Limit, ...]:
    """Compares limits with what is known now; returns those whose answer changed."""
    changed: tuple[Limit, ...] = ()
    watching, records = state.watching, state.book.records
    for limit in own:
        key = limit.key
        value = _value(plan, state, limit)
        active: bool | None = None
        if value is not None:
            record = records.get(key)
            was = record is not None and record.active
            active = beyond(value, limit.limit, limit.side, limit.deadband, was)
        if key not in watching or watching[key] is not active:
            watching[key] = active
            changed = (*changed, limit)
    return changed


def _value(plan: Plan, state: State, limit: Limit) -> float | None:
    if limit.people:
        return _worst_co2(plan, state, limit.space)
    if limit.sensor is not None:
        known = state.sensors[limit.sensor]
        return known.good_value if drives(known) else None
    estimate = state.spaces[limit.space].estimates.get(limit.quantity)
    if estimate is None or not estimate.fresh:
        return None
    return estimate.lowest if limit.side is Side.LOW else estimate.highest


def _worst_co2(plan: Plan, state: State, space: str) -> float | None:
    """The highest of a space's CO2 sensors, whatever the settings let steer: people stand anywhere."""
    worst: float | None = None
    for sensor in plan.spaces[space].sensors[Quantity.CO2]:
        known = state.sensors[sensor.id]
        if drives(known) and known.good_value is not None and (worst is None or known.good_value > worst):
            worst = known.good_value
    return worst


def limit_condition(plan: Plan, state: State, limit: Limit) -> Condition:
    """What the alarm book is told of a limit."""
    value = _value(plan, state, limit)
    estimate = None if limit.sensor else state.spaces[limit.space].estimates.get(limit.quantity)
    band = None if limit.sensor else plan.settings.spaces[limit.space].bands.get(limit.quantity)
    facts: dict[str, float | int | str | bool | None] = {
        "value": None if value is None else round(value, 2),
        "limit": limit.limit,
        "side": limit.side.value,
        "quantity": limit.quantity.value,
        "band_low": band.low if band else None,
        "band_high": band.high if band else None,
        "sensor": estimate.sensors[0] if estimate and estimate.sensors else limit.sensor,
        **_effort(plan, state, limit),
    }
    return Condition(
        kind=limit.kind,
        subject=limit.sensor or limit.space,
        space=limit.space,
        active=state.watching.get(limit.key),
        facts=facts,
        on_delay_ms=limit.on_delay_ms,
        off_delay_ms=limit.off_delay_ms,
        parents=() if value is not None else _silent(plan, state, limit),
    )


def gone(plan: Plan, state: State, before: LimitsOf, after: LimitsOf) -> list[Condition]:
    """An end to every limit there was before and is none now: its alarm must not stand for ever.

    Args:
        plan: the one from before.
    """
    kept = {limit.key for own in after.values() for group in own.values() for limit in group}
    found = []
    for own in before.values():
        for limit in (limit for group in own.values() for limit in group if limit.key not in kept):
            found.append(replace(limit_condition(plan, state, limit), active=False, off_delay_ms=0))
            state.watching.pop(limit.key, None)
    return found


def _silent(plan: Plan, state: State, limit: Limit) -> tuple[str, ...]:
    """The silent sensors that leave a limit unknown: they explain it, and hold its alarm back."""
    own = [sensor.id for sensor in plan.spaces[limit.space].sensors[limit.quantity]]
    asked = own if limit.sensor is None else [limit.sensor]
    return tuple(alarm_id("sensor-silent", sensor) for sensor in asked if state.sensors[sensor].silent)


_EFFORT: dict[str, Role] = {
    "humidity-low": Role.MIST,
    "co2-high": Role.FAN,
    "temperature-low": Role.HEATER,
    "temperature-high": Role.COOLER,
    "block-hot": Role.COOLER,
    "store-warm": Role.COOLER,
}


def _effort(plan: Plan, state: State, limit: Limit) -> Facts:
    """What is being done about it: the relay that should help, whether it runs, and what holds it back."""
    role = _EFFORT.get(limit.kind)
    for relay, its_role in plan.spaces[limit.space].relays.items():
        if its_role is role:
            known = state.relays[relay]
            blocked = known.refused.value if known.refused else None
            return {"relay": relay, "relay_on": known.on, "blocked": blocked}
    return {}


# --- everything else -----------------------------------------------------------------------------------


COVERED = 3
"""Priority of a silent sensor that something else stands in for: it calls nobody."""


def sensor_conditions(plan: Plan, state: State, sensor: str) -> tuple[Condition, ...]:
    """A sensor that says nothing, and one that says the same for too long."""
    settings, known = plan.settings.sensors[sensor], state.sensors[sensor]
    facts: Facts = {
        "sensor": sensor,
        "quantity": settings.quantity.value,
        "silent_s": round((state.mono_ms - known.heard_ms) / 1000),
        "last_value": known.good_value,
    }
    instead = covered_by(plan, state, settings) if known.silent else ""
    if instead:
        facts = {**facts, "covered_by": instead}
    elif settings.quantity not in AIR_QUANTITIES or sensor not in plan.sensor_space:
        facts = {**facts, "can_wait": True}  # no crop hangs on a switch, or the air outdoors, overnight
    flat = None if known.silent else known.mark is Mark.FLAT
    space, every_ms, parents = settings.space, settings.every_ms, _silent_before(plan, state, sensor)
    return (
        Condition(
            "sensor-silent",
            sensor,
            space,
            known.silent,
            facts,
            off_delay_ms=every_ms,
            parents=parents,
            priority=COVERED if instead else KINDS["sensor-silent"].priority,
        ),
        Condition("sensor-flat", sensor, space, flat, facts),
    )


def board_mates(plan: Plan, sensor: str) -> list[str]:
    """The sensors at the same place as this one, itself included: most likely one board."""
    own = plan.settings.sensors[sensor]
    return [
        other.id
        for other in plan.settings.sensors.values()
        if other.space == own.space and other.zone == own.zone
    ]


def _silent_before(plan: Plan, state: State, sensor: str) -> tuple[str, ...]:
    """The alarm of the first silent sensor of the same board, so that one dead board makes one call."""
    silent = [other for other in board_mates(plan, sensor) if state.sensors[other].silent]
    # One that something stands in for calls nobody, so it must not speak for one that nothing stands in for.
    missed = [other for other in silent if not covered_by(plan, state, plan.settings.sensors[other])]
    first = next(iter(missed or silent), sensor)
    return () if first == sensor else (alarm_id("sensor-silent", first),)


def link_condition(plan: Plan, state: State, link: Link) -> Condition:
    alarms, known = plan.settings.alarms, state.links[link]
    kind, grace_ms = {
        Link.BROKER: ("broker-lost", alarms.broker_grace_ms),
        Link.STORE: ("store-failing", alarms.store_grace_ms),
        Link.CONFIG: ("config-refused", 0),
    }[link]
    down = not known.up if known.heard else None
    return Condition(kind, link.value, None, down, {"detail": known.detail}, on_delay_ms=grace_ms)


def switch_condition(plan: Plan, state: State, sensor: str) -> Condition | None:
    """Of a door or tank switch; None for other sensors."""
    settings, known = plan.settings.sensors[sensor], state.sensors[sensor]
    value = known.good_value if drives(known) else None
    facts: Facts = {"sensor": sensor}
    if settings.quantity is Quantity.DOOR:
        opened = None if value is None else value >= 0.5
        wait_ms = plan.settings.alarms.door_open_ms
        space = plan.settings.spaces.get(settings.space or "")
        kind = "store-open" if space and space.kind is SpaceKind.COLD_STORE else "door-open"
        return Condition(kind, sensor, settings.space, opened, facts, on_delay_ms=wait_ms)
    if settings.quantity is Quantity.TANK:
        empty = None if value is None else value < 0.5
        return Condition("tank-empty", sensor, settings.space, empty, facts)
    return None


def relay_conditions(plan: Plan, state: State, now: Instant, relay: str) -> tuple[Condition, ...]:
    """Of a relay whose board should answer."""
    settings, known = plan.settings.relays[relay], state.relays[relay]
    found = proof(now, settings, known)
    space = plan.relay_space.get(relay) or settings.space
    facts: Facts = {"relay": relay, "role": settings.role.value, "told_on": known.on, "says_on": known.echoed}
    answers = None if found in (Proof.UNKNOWN, Proof.AWAITED) else found
    silent = None if answers is None else answers is Proof.SILENT
    stuck = None if answers is None else answers is Proof.STUCK_ON
    return (
        Condition("relay-silent", relay, space, silent, facts, on_delay_ms=0),
        Condition("relay-stuck", relay, space, stuck, facts),
    )


def everything(
    plan: Plan, state: State, watched: dict[str, dict[Quantity, tuple[Limit, ...]]], now: Instant
) -> list[Condition]:
    """All conditions, with the facts of this moment; links first, for they excuse what hangs on them."""
    found = [link_condition(plan, state, link) for link in Link]
    for sensor in plan.settings.sensors:
        found += sensor_conditions(plan, state, sensor)
    switches = (switch_condition(plan, state, sensor) for sensor in plan.settings.sensors)
    found += [condition for condition in switches if condition is not None]
    for own in watched.values():
        found += [limit_condition(plan, state, limit) for group in own.values() for limit in group]
    for relay, settings in plan.settings.relays.items():
        if settings.echo_within_ms is not None:
            found += relay_conditions(plan, state, now, relay)
    for space in plan.spaces:
        found += [capacity.condition(plan, state, space), *effect_watch.conditions(plan, state, space)]
    return found


def subjects(plan: Plan) -> set[str]:
    """Everything an alarm may be about under these settings (asked for membership only)."""
    settings = plan.settings
    return {*settings.spaces, *settings.sensors, *settings.relays, *(link.value for link in Link), LOCAL} | {
        reach.channel for person in settings.calling.people for reach in person.reach
    }


def changed_relays(plan: Plan, state: State, now: Instant) -> list[Condition]:
    """Conditions of the relays whose board began or ceased to answer as told."""
    found = []
    for relay, settings in plan.settings.relays.items():
        if settings.echo_within_ms is None:
            continue
        for condition in relay_conditions(plan, state, now, relay):
            key = alarm_id(condition.kind, relay)
            if state.watching.get(key) is not condition.active:
                state.watching[key] = condition.active
                found.append(condition)
    return found


def need(plan: Plan, state: State, space: str) -> float:
    """How badly a space wants shared equipment: its worst share of a band's width outside its aim."""
    worst = 0.0
    for quantity, estimate in state.spaces[space].estimates.items():
        band = plan.settings.spaces[space].bands.get(quantity)
        if band is None or estimate.value is None:
            continue
        width = max((band.high or 0.0) - (band.low or 0.0), 1.0)
        if band.low is not None and quantity is Quantity.HUMIDITY:
            worst = max(worst, (band.low - estimate.value) / width)
        if band.high is not None and quantity is Quantity.CO2:
            worst = max(worst, (estimate.value - band.high) / width)
    return worst


def harmed(plan: Plan, state: State, space: str) -> bool:
    """A space past a hard limit that only its own fresh air can mend must not lose the shared fan."""
    estimate = state.spaces[space].estimates.get(Quantity.CO2)
    band = plan.settings.spaces[space].bands.get(Quantity.CO2)
    if estimate is None or estimate.value is None:
        return False
    ceiling = band.alarm_high if band is not None and band.alarm_high is not None else PEOPLE_LIMITS[0][1]
    return estimate.value >= ceiling
