"""What `now` and the page show of the sensors' truth, as plain values. Reads, never changes."""

from gillhouse.core.calibration import in_date, left_error
from gillhouse.core.crops import Band
from gillhouse.core.demand import UNCALIBRATED_AIM_PCT
from gillhouse.core.estimate import Estimate
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import MEASURES
from gillhouse.core.snapshot import to_plain
from gillhouse.core.truth import AT_LEAST_PCT, checked_up_to, in_force


def sensors(plan: Plan, state: State, now: Instant) -> dict[str, object]:
    """Every measuring sensor: its correction, whether it is in date, whether it is in its place."""
    return {
        sensor.id: _sensor(plan, state, now, sensor.id)
        for sensor in plan.settings.sensors.values()
        if not MEASURES[sensor.quantity].on_off
    }


def _sensor(plan: Plan, state: State, now: Instant, name: str) -> dict[str, object]:
    sensor = plan.settings.sensors[name]
    known, away = in_force(state.truth, sensor), state.truth.away.get(name)
    dated = known is not None and in_date(known, now.wall_ms)
    return {
        "space": sensor.space,
        "quantity": sensor.quantity.value,
        "calibrated": sensor.calibrated or dated,
        "error": left_error(known, sensor.error) if known is not None and dated else sensor.error,
        "calibration": None if known is None else to_plain(known),
        "away_until_ms": None if away is None or away.until_ms <= now.wall_ms else away.until_ms,
    }


def findings(state: State) -> list[dict[str, object]]:
    """What stands, oldest first."""
    return [
        {
            "reason": one.reason.value,
            "sensor": one.sensor,
            "space": one.space,
            "since_ms": one.since_ms,
            "facts": dict(one.facts),
        }
        for one in sorted(state.found.standing.values(), key=lambda one: (one.since_ms, one.sensor))
    ]


def humidity(
    plan: Plan, state: State, now: Instant, estimate: Estimate | None, band: Band | None
) -> dict[str, object]:
    """What humidity is only wished for, where it is held instead, and what its value is worth."""
    wished = None if band is None or (estimate is not None and estimate.trusted) else wished_pct(band)
    shown: dict[str, object] = {
        "wished": wished,
        "held_at": None if wished is None else UNCALIBRATED_AIM_PCT,
        "at_least": False,
    }
    if estimate is not None and estimate.value is not None and estimate.value > AT_LEAST_PCT:
        settings = plan.settings.sensors
        own = [settings[name] for name in estimate.sensors if name in settings]
        tops = [checked_up_to(state.truth, sensor, now.wall_ms) for sensor in own]
        shown["at_least"] = estimate.value >= 100.0 or min(tops, default=0.0) < AT_LEAST_PCT
    return shown


def wished_pct(band: Band) -> float | None:
    """The humidity a band asks for, where that is more than a sensor without a check in date may steer to.

    Its target, or where it has none its lower edge.
    """
    wish = band.target if band.target is not None else band.low
    return wish if wish is not None and wish > UNCALIBRATED_AIM_PCT else None
