"""Looks at the sensors once a minute: what they say of each other, of themselves, and whether they are due.

What lives here: one rule a kind of finding, in a table, and what is told when one begins or is over. What
must not: alarms (a finding calls nobody), a reading's quality. Nothing here moves a relay.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from typing import Final

from gillhouse.core import disagree, sluggish, unaired
from gillhouse.core.calibration import DAY_MS
from gillhouse.core.found import Finding
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.plumbing import limed
from gillhouse.core.quality import SensorState, drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role, SensorSettings
from gillhouse.core.shadow import drift_words, drifts
from gillhouse.core.space_plan import ASSUMED_C, SpacePlan
from gillhouse.core.truth import in_force, is_away

LOOK_MS: Final = 60_000
"""Looked at this often, with whatever input comes then."""

WET_MS: Final = 2 * 3_600_000
"""A humidity sensor at 100 for so long without mist is wet or dirty. Our choice."""

TOLD_BEFORE_MS: Final = 14 * DAY_MS
"""A check that is due is told this long before. Our choice."""

REASONS: Final = frozenset(
    {
        Reason.SENSOR_AWAY,
        Reason.SENSOR_WET,
        Reason.SENSORS_DISAGREE,
        Reason.SENSOR_SLOW,
        Reason.NEVER_AIRED,
        Reason.CALIBRATION_DUE,
        Reason.CALIBRATION_OVER,
        Reason.DRIFTED,
        Reason.DESCALE_DUE,
    }
)
"""What may be found (asked for membership only)."""

_PAIR: Final = "/"
"""Between the names of two sensors."""

Told = dict[str, float | int | str | bool | None]

_Rule = Callable[[Plan, State, Instant, int], Iterator[Finding]]


def look(plan: Plan, state: State, seq: int, now: Instant) -> tuple[Event, ...]:
    """Renews what is found of the sensors.

    Args:
        seq: of the input that gave the occasion.
    Returns: what began and what is over, as events.
    """
    found = state.found
    elapsed_ms = max(now.mono_ms - found.looked_ms, 0)  # monotonic time starts over with the daemon
    found.looked_ms = now.mono_ms
    holds = {
        key_of(one.reason, one.sensor, one.facts.get("other")): one
        for rule in _RULES
        for one in rule(plan, state, now, elapsed_ms)
    }
    events = []
    for key, was in list(found.standing.items()):
        if key not in holds:
            del found.standing[key]
            over: Told = {"sensor": was.sensor, "was": was.reason.value.replace("-", " "), "key": key}
            events.append(_event(was, Reason.FOUND_OVER, over, seq))
    for key, one in holds.items():
        last = found.standing.get(key)
        one.since_ms = now.wall_ms if last is None else last.since_ms
        found.standing[key] = one
        if last is None:
            events.append(_event(one, one.reason, one.facts, seq))
    return tuple(events)


def key_of(reason: Reason, sensor: str, other: object = None) -> str:
    """The name under which a finding stands."""
    return f"{reason.value}:{sensor}{_PAIR}{other}" if other is not None else f"{reason.value}:{sensor}"


def is_time(state: State, mono_ms: int) -> bool:
    """Whether the next look is due."""
    return not 0 <= mono_ms - state.found.looked_ms < LOOK_MS


def _event(one: Finding, reason: Reason, facts: Told, seq: int) -> Event:
    return Event(EventKind.SENSOR, one.sensor, one.space, reason, facts, (seq,))


# --- the rules -----------------------------------------------------------------------------------------


def _away(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    for sensor in list(state.truth.away):
        settings = plan.settings.sensors.get(sensor)
        if settings is not None and is_away(state.truth, sensor, now.wall_ms):
            facts: Told = {"sensor": sensor, "who": state.truth.away[sensor].who}
            yield Finding(Reason.SENSOR_AWAY, sensor, settings.space, facts)


def _due(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    for sensor in plan.settings.sensors.values():
        known = in_force(state.truth, sensor)
        if known is None or sensor.calibrated:
            continue
        left_ms = known.due_ms - now.wall_ms
        if left_ms > TOLD_BEFORE_MS:
            continue
        reason = Reason.CALIBRATION_DUE if left_ms > 0 else Reason.CALIBRATION_OVER
        days: Told = {"sensor": sensor.id, "days": abs(left_ms) // DAY_MS}
        yield Finding(reason, sensor.id, sensor.space, days)


def _wet(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    wet_ms = state.found.wet_ms
    for own in plan.spaces.values():
        misted = _misted(own, state, now, elapsed_ms)
        for sensor in own.sensors[Quantity.HUMIDITY]:
            known = state.sensors[sensor.id]
            if misted or known.mark is not Mark.SATURATED or not drives(known):
                wet_ms.pop(sensor.id, None)
                continue
            wet_ms[sensor.id] = wet_ms.get(sensor.id, 0) + min(elapsed_ms, 2 * LOOK_MS)
            if wet_ms[sensor.id] >= WET_MS:
                hours = wet_ms[sensor.id] / 3_600_000
                facts: Told = {"sensor": sensor.id, "hours": round(hours, 1)}
                yield Finding(Reason.SENSOR_WET, sensor.id, own.settings.id, facts)


def _misted(own: SpacePlan, state: State, now: Instant, elapsed_ms: int) -> bool:
    """Whether mist ran since the last look."""
    for relay, role in own.relays.items():
        known = state.relays[relay]
        lately = known.told_once and now.mono_ms - known.since_mono_ms < elapsed_ms
        if role is Role.MIST and (known.on or lately):
            return True
    return False


def _unaired(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    lows = state.found.lows
    for own in plan.spaces.values():
        for sensor in own.sensors[Quantity.CO2]:
            known = state.sensors[sensor.id]
            if not sensor.self_calibrating:
                lows.pop(sensor.id, None)
                continue
            if drives(known) and known.good_value is not None:
                unaired.note(lows.setdefault(sensor.id, {}), known.good_value, now.wall_ms)
            lowest = unaired.lowest_unaired(lows.get(sensor.id, {}), now.wall_ms)
            if lowest is not None:
                facts: Told = {"sensor": sensor.id, "lowest": lowest, "days": unaired.DAYS}
                yield Finding(Reason.NEVER_AIRED, sensor.id, own.settings.id, facts)


def _disagree(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    last, state.found.gaps = state.found.gaps, {}
    for own in plan.spaces.values():
        for pair in combinations(own.sensors[Quantity.HUMIDITY], 2):
            name = _PAIR.join(sensor.id for sensor in pair)
            gap = state.found.gaps[name] = last.get(name) or disagree.Gap()
            one = _compared(own, state, pair, gap, elapsed_ms)
            if one is not None:
                yield one


def _compared(
    own: SpacePlan,
    state: State,
    pair: tuple[SensorSettings, SensorSettings],
    gap: disagree.Gap,
    elapsed_ms: int,
) -> Finding | None:
    """What a look at two sensors gives; what stood stays while one of them says nothing."""
    here, there = (_moist(own, state, sensor) for sensor in pair)
    if here is None or there is None:
        return state.found.standing.get(key_of(Reason.SENSORS_DISAGREE, pair[0].id, pair[1].id))
    if not disagree.watch(gap, here, there, elapsed_ms):
        return None
    return _apart(state, pair, disagree.gap_points(here, there))


def _slow(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    """After `_disagree`, whose slow mean of the gap it takes out."""
    last, state.found.paces = state.found.paces, {}
    for own in plan.spaces.values():
        for pair in combinations(own.sensors[Quantity.HUMIDITY], 2):
            if pair[0].zone != pair[1].zone or max(one.every_ms for one in pair) > LOOK_MS:
                # A nozzle nearer to one would look like a dirty cap of the other; so would rare reports.
                continue
            name = _PAIR.join(sensor.id for sensor in pair)
            pace = state.found.paces[name] = last.get(name) or sluggish.Pace()
            here, there = (_moist(own, state, sensor) for sensor in pair)
            if here is not None and there is not None:
                mean_k = state.found.gaps[name].mean_k
                # At one fixed warmth: they share a thermometer, and its last digit is no movement.
                levels = [disagree.dew_c(replace(one, temperature_c=ASSUMED_C)) for one in (here, there)]
                sluggish.watch(pace, levels[0], levels[1], mean_k, elapsed_ms)
            yield from _behind(pair, pace)


def _behind(pair: tuple[SensorSettings, SensorSettings], pace: sluggish.Pace) -> Iterator[Finding]:
    for slow, quick, one in ((pair[0], pair[1], pace.first), (pair[1], pair[0], pace.second)):
        if one.slow:
            facts: Told = {"sensor": slow.id, "other": quick.id, "lag_min": round(one.lag_s / 60.0, 1)}
            yield Finding(Reason.SENSOR_SLOW, slow.id, slow.space, facts)


def _apart(state: State, pair: tuple[SensorSettings, SensorSettings], points: float) -> Finding:
    """The finding that names both, and which of them to look at first: the one without a check in date."""
    first, second = pair
    sure = [state.sensors[sensor.id].calibrated for sensor in pair]
    check = "both" if sure[0] == sure[1] else (second.id if sure[0] else first.id)
    facts: Told = {"sensor": first.id, "other": second.id, "points": round(abs(points), 1), "check": check}
    return Finding(Reason.SENSORS_DISAGREE, first.id, first.space, facts)


def _moist(own: SpacePlan, state: State, sensor: SensorSettings) -> disagree.Moist | None:
    """What a humidity sensor says with the thermometer at its place, else that of its space."""
    known = state.sensors[sensor.id]
    if not drives(known) or known.good_value is None or known.mark is Mark.SATURATED:
        return None
    meter = _thermometer(own, state, sensor)
    if meter is None:
        return None
    settings, warm = meter
    assert warm.good_value is not None  # _thermometer gives only one that says something
    return disagree.Moist(
        temperature_c=warm.good_value,
        humidity_pct=known.good_value,
        error_pct=sensor.error if known.error is None else known.error,
        error_k=settings.error if warm.error is None else warm.error,
        thermometer=settings.id,
    )


def _thermometer(
    own: SpacePlan, state: State, sensor: SensorSettings
) -> tuple[SensorSettings, SensorState] | None:
    able = [
        (one, state.sensors[one.id])
        for one in own.sensors[Quantity.TEMPERATURE]
        if drives(state.sensors[one.id]) and state.sensors[one.id].good_value is not None
    ]
    return next((pair for pair in able if pair[0].zone == sensor.zone), able[0] if able else None)


def _drifted(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    roles = {"fan": Role.FAN, "mist": Role.MIST}
    for space, known in state.shadows.items():
        for drift in drifts(known):
            relays = plan.spaces[space].by_role.get(roles[drift.what]) if space in plan.spaces else None
            if relays:
                words, share = drift_words(drift), round(drift.share, 3)
                facts: Told = {"sensor": relays[0], "words": words, "share": share}
                yield Finding(Reason.DRIFTED, relays[0], space, facts)


def _limed(plan: Plan, state: State, now: Instant, elapsed_ms: int) -> Iterator[Finding]:
    return limed(plan, state)


_RULES: Final[tuple[_Rule, ...]] = (_away, _disagree, _slow, _wet, _unaired, _due, _drifted, _limed)
