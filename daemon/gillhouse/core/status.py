"""What the farm is doing at a moment, as plain values for `now` and the page. Reads, never changes."""

from typing import cast

from gillhouse.core import (
    crop_status,
    guard_status,
    hosing,
    measuring_status,
    mode_status,
    plumbing,
    truth_status,
)
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import SensorSettings, SpaceKind
from gillhouse.core.space import SpaceState
from gillhouse.core.space_plan import SpacePlan

_SHOWN = (Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2)


def status(plan: Plan, state: State, now: Instant, deadline_ms: int | None) -> dict[str, object]:
    """The whole farm. Keys are stable; see docs/reference."""
    alarms = state.book.active()
    return {
        "spaces": {
            space: {
                "name": own.settings.name,
                "stage": own.settings.stage.value,
                "species": own.settings.species,
                "batches": crop_status.batches(plan.given, state.crops, space, now.wall_ms),
                "modes": mode_status.modes(plan, state, space, now),
                "air_breathed": mode_status.air_breathed(state, space, now),
                "bands_moving_h": crop_status.moving_h(plan.given, state.crops, space, now.wall_ms),
                "quantities": _quantities(plan, own, state, now),
                "relays": _relays(plan, own, state, now),
                "stories": {role.value: why.value for role, why in state.spaces[space].modes.items()},
                "caps": hosing.status(plan, state, own, now),
                "lines": plumbing.status(plan, state, tuple(own.relays), now),
                "alarms": [alarm for alarm in alarms if alarm.get("space") == space],
                "next_action_s": _seconds(deadline_ms, now),
            }
            for space, own in plan.spaces.items()
        },
        "links": {
            link.value: {"up": known.up, "detail": known.detail} for link, known in state.links.items()
        },
        "alarms": alarms,
        "measuring": measuring_status.told(state),
        "heard_s": {
            sensor: round((now.mono_ms - known.heard_ms) / 1000, 1) for sensor, known in state.sensors.items()
        },
        "sensors": truth_status.sensors(plan, state, now),
        "findings": truth_status.findings(state),
        "held": guard_status.held(plan, state),
        "reminders": guard_status.reminders(plan, now),
    }


def _seconds(moment_ms: int | None, now: Instant) -> float | None:
    return None if moment_ms is None else round(max(moment_ms - now.mono_ms, 0) / 1000, 1)


def _quantities(plan: Plan, own: SpacePlan, state: State, now: Instant) -> dict[str, object]:
    known = state.spaces[own.settings.id]
    found: dict[str, object] = {
        quantity.value: _steering(own, known, state, quantity, now)
        for quantity in _SHOWN
        if own.sensors[quantity]
    }
    if own.sensors[Quantity.HUMIDITY]:
        estimate = known.estimates.get(Quantity.HUMIDITY)
        # Without mist, or open to the wind, nothing is aimed at.
        aimed = own.mist and own.settings.kind is not SpaceKind.OPEN
        band = own.settings.bands.get(Quantity.HUMIDITY) if aimed else None
        shown = cast(dict[str, object], found[Quantity.HUMIDITY.value])
        shown.update(truth_status.humidity(plan, state, now, estimate, band))
    for sensor in plan.settings.sensors.values():
        if sensor.space == own.settings.id and sensor.quantity not in _SHOWN:
            found[sensor.quantity.value] = _plain(sensor, state, now)
    return found


def _steering(
    own: SpacePlan, known: SpaceState, state: State, quantity: Quantity, now: Instant
) -> dict[str, object]:
    estimate, band = known.estimates.get(quantity), own.settings.bands.get(quantity)
    sensors = own.sensors[quantity]
    name = estimate.sensors[0] if estimate is not None and estimate.sensors else sensors[0].id
    sensor = state.sensors[name]
    value = estimate.value if estimate is not None else None
    since = estimate.mono_ms if estimate is not None and estimate.value is not None else sensor.heard_ms
    return {
        "value": None if value is None else round(value, 2),
        "quality": sensor.quality.name,
        "mark": sensor.mark.value,
        "held": estimate.held if estimate is not None else False,
        "age_s": round((now.mono_ms - since) / 1000, 1),
        "low": band.low if band else None,
        "high": band.high if band else None,
        "sensor": name,
    }


def _plain(sensor: SensorSettings, state: State, now: Instant) -> dict[str, object]:
    known = state.sensors[sensor.id]
    return {
        "value": known.good_value if drives(known) else None,
        "quality": known.quality.name,
        "mark": known.mark.value,
        "held": False,
        "age_s": round((now.mono_ms - known.heard_ms) / 1000, 1),
        "low": None,
        "high": None,
        "sensor": sensor.id,
    }


def _relays(plan: Plan, own: SpacePlan, state: State, now: Instant) -> dict[str, object]:
    shown: dict[str, object] = {}
    for relay, role in own.relays.items():
        known, ask = state.relays[relay], state.asks.get(relay)
        why = known.last_reason if known.on or ask is None else ask.reason
        blocked = known.refused.value if known.refused is not None else None
        override = state.overrides.get(relay)
        shown[relay] = {
            "role": role.value,
            "on": known.on,
            "why": why.value,
            "facts": dict(known.last_facts if known.on or ask is None else ask.facts),
            "advise": plan.settings.relays[relay].advise_only,
            "blocked": blocked,
            "until_s": _seconds(known.run_end or known.lease_end, now) if known.on else None,
            "override_s": None if override is None else _seconds(override.until_ms, now),
        }
    return shown
