"""Water lines within the farm: frost, litres and lime, water that stood, and what a person did to them.

Here: what joins `lines` to the farm's state. Not here: the rules of one line (there), the bar itself (see
`bars`). Only what is driven counts as flowing; a relay that is only advised may be worked by somebody else,
so its water is neither counted nor told as standing.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from gillhouse.core import water
from gillhouse.core.alarm import Condition, alarm_id
from gillhouse.core.asks import Ask
from gillhouse.core.found import Finding
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.lines import LineState, feel, lime_litres
from gillhouse.core.outputs import Authority, Event, EventKind, Facts
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, Role
from gillhouse.core.shadow import settle_anew

HOUR_MS: Final = 3_600_000
LONGEST_STEP_MS: Final = 15 * 60_000
"""The longest lease: nothing flows longer without being told again."""

Told = dict[str, float | int | str | bool | None]


def _mists(plan: Plan) -> Iterator[RelaySettings]:
    return (relay for relay in plan.settings.relays.values() if relay.role is Role.MIST)


# --- what flows ----------------------------------------------------------------------------------------


def follow(plan: Plan, state: State, now: Instant) -> None:
    """Books what has flowed since the last call; call it whenever a relay has moved."""
    for relay in _mists(plan):
        line = state.lines[relay.id]
        if line.flowed_wall_ms is None:
            line.flowed_wall_ms = now.wall_ms
        elapsed_ms = min(max(now.mono_ms - line.at_ms, 0), LONGEST_STEP_MS)
        line.at_ms = now.mono_ms
        if line.flowing and elapsed_ms:
            litres = relay.litres_per_h * elapsed_ms / HOUR_MS
            line.litres += litres
            line.fallen_l += litres
            line.flowed_wall_ms, line.drained = now.wall_ms, False
        line.flowing = state.relays[relay.id].on and not relay.advise_only


def stood_h(line: LineState, now: Instant) -> float:
    """Hours its water has stood; 0 for an empty line."""
    if line.drained or line.flowed_wall_ms is None:
        return 0.0
    return max(now.wall_ms - line.flowed_wall_ms, 0) / HOUR_MS


def watch_standing(plan: Plan, state: State, now: Instant) -> tuple[str, ...]:
    """Notes which lines have stood for too long; returns those for which that changed."""
    changed: tuple[str, ...] = ()
    for relay in _mists(plan):
        line = state.lines[relay.id]
        stood = not relay.advise_only and stood_h(line, now) * HOUR_MS >= plan.settings.water.stood_ms
        if stood is not line.stood:
            line.stood = stood
            changed = (*changed, relay.id)
    return changed


def flushes(plan: Plan, state: State, now: Instant, people: dict[str, bool | None]) -> list[Ask]:
    """Fresh water for lines that stood, where it is known that nobody is inside.

    It asks with a person's authority, for the grower set it so; whatever bars mist bars this too.
    """
    lines, run_ms = plan.settings.water, plan.settings.water.flush_ms
    if run_ms is None:
        return []
    found = []
    for relay in _mists(plan):
        line = state.lines[relay.id]
        stands = line.stood and stood_h(line, now) * HOUR_MS >= lines.stood_ms
        if stands and people.get(relay.space or "") is False:
            facts: Facts = {"relay": relay.id, "hours": round(stood_h(line, now), 1)}
            found.append(Ask(relay.id, True, run_ms, Authority.OVERRIDE, Reason.FLUSHING, (), facts))
    return found


# --- frost ---------------------------------------------------------------------------------------------


def chill(plan: Plan, state: State, relays: Sequence[str], now: Instant) -> tuple[str, ...]:
    """Takes in what thermometers say of these relays' water; returns those that changed."""
    return tuple(relay for relay in relays if _chill(plan, state, relay, now))


def _chill(plan: Plan, state: State, relay: str, now: Instant) -> bool:
    values = {}
    for sensor in plan.line_sensors[relay]:
        known = state.sensors[sensor]
        if drives(known) and known.good_value is not None:
            values[sensor] = known.good_value
    return feel(state.lines[relay], values, plan.settings.water.drain_below_c, now.wall_ms)


def freezing(plan: Plan, state: State) -> dict[str, Facts]:
    """By relay whose water is near freezing: what was measured."""
    limit_c = plan.settings.water.drain_below_c
    return {
        relay: {"value": line.coldest_c, "limit": limit_c, "thermometer": line.sensor}
        for relay, line in state.lines.items()
        if line.freezing
    }


# --- what is told --------------------------------------------------------------------------------------


def conditions(plan: Plan, state: State, now: Instant) -> list[Condition]:
    """Whether lines must be drained, by space, and which have stood, by relay."""
    found = []
    for space, own in plan.spaces.items():
        cold = [state.lines[relay] for relay in own.by_role[Role.MIST] if state.lines[relay].freezing]
        full = [line for line in cold if not line.drained]
        facts: Told = {"side": "low", "quantity": Quantity.TEMPERATURE.value}
        if cold:
            coldest = min((line.coldest_c for line in cold if line.coldest_c is not None), default=None)
            facts.update(value=coldest, limit=plan.settings.water.drain_below_c)
        if own.by_role[Role.MIST] or state.book.is_active("drain-down", space):
            found.append(Condition("drain-down", space, space, bool(full), facts))
    found += near_caps(plan, state, now)
    for relay in _mists(plan):
        line = state.lines[relay.id]
        told: Told = {"relay": relay.id, "hours": round(stood_h(line, now), 1)}
        found.append(Condition("water-stood", relay.id, relay.space, line.stood, told))
    return found


def limed(plan: Plan, state: State) -> Iterator[Finding]:
    """The mist relays whose nozzles want descaling."""
    for relay in _mists(plan):
        most = lime_litres(relay, plan.settings.water.hardness_mg_l)
        litres = state.lines[relay.id].litres
        if most is not None and litres >= most:
            facts: Told = {"sensor": relay.id, "litres": float(round(litres)), "after": float(round(most))}
            yield Finding(Reason.DESCALE_DUE, relay.id, relay.space, facts)


def status(plan: Plan, state: State, relays: Sequence[str], now: Instant) -> dict[str, object]:
    """What `now` shows of the water behind these relays; nothing of a relay that is no mist relay."""
    shown: dict[str, object] = {}
    for relay in _mists(plan):
        if relay.id not in relays:
            continue
        line = state.lines[relay.id]
        shown[relay.id] = {
            "litres": round(line.litres, 1),
            "descale_litres": lime_litres(relay, plan.settings.water.hardness_mg_l),
            "cleaned_ms": line.cleaned_wall_ms,
            "stood_h": None if relay.advise_only else round(stood_h(line, now), 1),
            "freezing": line.freezing,
            "drained": line.drained,
        }
    return shown


# --- what a person did ---------------------------------------------------------------------------------


_REASONS: Final = {Act.CLEANED: Reason.CLEANED, Act.FLUSHED: Reason.FLUSHED, Act.DRAINED: Reason.DRAINED}


def done(plan: Plan, state: State, now: Instant, action: OperatorAction, seq: int) -> tuple[Event, ...]:
    """Takes in that somebody cleaned, flushed or drained a line, or cleaned a fan's filter.

    Returns: the line in the log; a refusal where there is nothing like it.
    """
    relay = plan.settings.relays.get(action.subject)
    able = (Role.MIST, Role.FAN) if action.act is Act.CLEANED else (Role.MIST,)
    if relay is None or relay.role not in able:
        facts: Told = {"subject": action.subject, "who": action.who, "act": action.act.value}
        return (Event(EventKind.REFUSED, action.subject, None, Reason.UNKNOWN_SUBJECT, facts, (seq,)),)
    if action.act is Act.MORE_WATER:
        return (_more(plan, state, now, action, seq),)
    line = state.lines.get(relay.id) or LineState()
    told: Told = {
        "who": action.who,
        "relay": relay.id,
        "litres": round(line.litres, 1),
        "text": action.text,
    }
    if action.act is Act.CLEANED:
        line.litres, line.cleaned_wall_ms = 0.0, now.wall_ms
        _settle_anew(state, relay)
    else:
        line.drained = action.act is Act.DRAINED
        line.flowed_wall_ms = now.wall_ms
    line.stood = False
    return (Event(EventKind.WATER, relay.id, relay.space, _REASONS[action.act], told, (seq,)),)


def _more(plan: Plan, state: State, now: Instant, action: OperatorAction, seq: int) -> Event:
    relay = plan.settings.relays[action.subject]
    litres = water.add_more(now, relay, state.relays[relay.id], plan.settings.zone)
    told: Told = {"who": action.who, "relay": relay.id, "litres": litres, "text": action.text}
    if litres is None:
        return Event(EventKind.REFUSED, relay.id, relay.space, Reason.ALREADY_MORE, told, (seq,))
    return Event(EventKind.WATER, relay.id, relay.space, Reason.MORE_WATER, told, (seq,))


def near_caps(plan: Plan, state: State, now: Instant) -> list[Condition]:
    """Mist relays whose water for today is nearly used up."""
    zone = plan.settings.zone
    found = []
    for relay in _mists(plan):
        if relay.daily_litres is None or relay.advise_only:
            continue
        run = state.relays[relay.id]
        facts: Told = {
            "relay": relay.id,
            "litres": round(water.litres_today(now, relay, run, zone), 1),
            "daily_litres": round(water.cap_litres(now, relay, run, zone), 1),
        }
        near = water.is_near_cap(now, relay, run, zone)
        found.append(Condition("water-cap-near", relay.id, relay.space, near, facts))
    return found


def caps_changed(plan: Plan, state: State, now: Instant) -> list[Condition]:
    """Those of `near_caps` that are other than last told."""
    found = []
    for one in near_caps(plan, state, now):
        key = alarm_id(one.kind, one.subject)
        if state.watching.get(key) is not one.active:
            state.watching[key] = one.active
            found.append(one)
    return found


def _settle_anew(state: State, relay: RelaySettings) -> None:
    """What nozzles or filter had settled at no longer counts."""
    shadow = state.shadows.get(relay.space or "")
    if shadow is not None:
        settle_anew(shadow, "mist" if relay.role is Role.MIST else "fan")
