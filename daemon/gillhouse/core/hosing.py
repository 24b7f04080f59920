"""Open spaces within the farm: their caps' water, the call for the hose, how humid they came of late.

Here: what joins `caps` and `reach` to the farm's state, once a minute. Not here: their rules. The call comes
from the account of the caps alone, and only where somebody tells of hosings: before the first one nothing is
known of what lies on the caps, and the plain rule 'under its band' stands (see `space`).
"""

from typing import Final

from gillhouse.core.air import humidity_ratio
from gillhouse.core.alarm import Condition
from gillhouse.core.caps import (
    EDGE,
    EDGE_WIND,
    GUESSED_WIND_M_S,
    WINDY_ZONES,
    Caps,
    Outlook,
    ZoneAir,
    advance,
    fallen_mm,
    feel,
    is_called,
    outlook,
    seen_dry,
    soak,
)
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reach import PARTS, Reach, note, score, span
from gillhouse.core.reasons import Reason
from gillhouse.core.schedule import local
from gillhouse.core.settings import Role
from gillhouse.core.space_plan import OUTSIDE_ZONES, SpacePlan

MINUTE_MS: Final = 60_000
LONGEST_LOOK_MIN: Final = 2.0
"""Of the time since the last look no more than this counts as known."""
SHOWN_MOST_H: Final = 48.0
"""Further ahead nothing is told: the weather will be another."""

Told = dict[str, float | int | str | bool | None]


def says_hosed(text: str) -> bool:
    """Whether a note tells of a hosing: it begins with the word."""
    words = text.split()
    return bool(words) and words[0].rstrip(".,:;!").lower() == "hosed"


# --- what is known of the air --------------------------------------------------------------------------


def wind_m_s(plan: Plan, state: State, own: SpacePlan, zone: str | None) -> tuple[float, bool]:
    """Wind over the caps of one zone (None: of the space), and whether anything measures it.

    A gauge in the zone, else in the space, says what is felt there; one outdoors, or the guess, is sheltered.
    """
    space = own.settings.id
    inside: dict[str, float] = {}
    outdoors: list[float] = []
    for sensor in plan.settings.sensors.values():
        known = state.sensors[sensor.id]
        if sensor.quantity is not Quantity.WIND or not drives(known) or known.good_value is None:
            continue
        if sensor.space is None or (sensor.space == space and sensor.zone in OUTSIDE_ZONES):
            outdoors.append(known.good_value)
        elif sensor.space == space:
            inside[sensor.zone] = known.good_value
    if zone in inside:
        return inside[zone], True
    edge = EDGE_WIND if zone in WINDY_ZONES or zone == EDGE else 1.0
    if inside:
        return edge * sum(inside.values()) / len(inside), True
    base = sum(outdoors) / len(outdoors) if outdoors else GUESSED_WIND_M_S
    return edge * base * own.settings.hose.shelter, bool(outdoors)


def airs(plan: Plan, state: State, own: SpacePlan) -> dict[str, ZoneAir]:
    """The air of every zone whose humidity is known, and of a windy edge where no zone is called so."""
    known = state.spaces[own.settings.id]
    warm = known.estimates.get(Quantity.TEMPERATURE)
    space_c = own.assumed_c if warm is None or warm.value is None else warm.value
    found: dict[str, ZoneAir] = {}
    for sensor in own.sensors[Quantity.HUMIDITY]:
        felt = state.sensors[sensor.id]
        if drives(felt) and felt.good_value is not None and sensor.zone not in found:
            celsius = _zone_c(own, state, sensor.zone, space_c)
            wind, _ = wind_m_s(plan, state, own, sensor.zone)
            found[sensor.zone] = ZoneAir(celsius, felt.good_value, wind)
    humid = known.estimates.get(Quantity.HUMIDITY)
    named = {sensor.zone for sensor in own.sensors[Quantity.HUMIDITY]}
    if not named.intersection(WINDY_ZONES) and humid is not None and humid.value is not None:
        wind, _ = wind_m_s(plan, state, own, EDGE)
        found[EDGE] = ZoneAir(space_c, humid.value, wind)
    return found


def _zone_c(own: SpacePlan, state: State, zone: str, otherwise: float) -> float:
    for sensor in own.sensors[Quantity.TEMPERATURE]:
        known = state.sensors[sensor.id]
        if sensor.zone == zone and drives(known) and known.good_value is not None:
            return known.good_value
    return otherwise


def _excess(state: State, own: SpacePlan) -> float | None:
    """How much more water the air inside carries than outside, kg/kg; None where either is not measured."""
    known = state.spaces[own.settings.id]
    inside = [known.estimates.get(quantity) for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)]
    outside = own.intake[Quantity.TEMPERATURE] and own.intake[Quantity.HUMIDITY]
    if not outside or not all(drives(state.sensors[sensor.id]) for sensor in outside):
        return None
    if inside[0] is None or inside[1] is None or inside[0].value is None or inside[1].value is None:
        return None
    return humidity_ratio(inside[0].value, inside[1].value) - known.intake.ratio


# --- once a minute -------------------------------------------------------------------------------------


def look(plan: Plan, state: State, seq: int, now: Instant) -> tuple[Event, ...]:
    """Brings every open space to this moment; returns what was learnt, and what begins to be called for."""
    events: list[Event] = []
    for space, caps in state.caps.items():
        own = plan.spaces[space]
        hose = own.settings.hose
        fallen = _take_fallen(plan, state, own)
        minutes = min(max(now.wall_ms - caps.at_wall_ms, 0) / MINUTE_MS, LONGEST_LOOK_MIN)
        advance(caps, airs(plan, state, own), fallen, hose, now.wall_ms)
        if feel(caps, _excess(state, own), fallen, now.wall_ms, hose):
            events.append(_learnt(caps, space, "the air told when it had dried", seq))
        events += _note_reach(plan, state, own, (seq, now), minutes)
        first = outlook(caps, hose, now.wall_ms)
        called = is_called(caps, hose, first)
        if called and not caps.called and first is not None:
            facts = _outlook_facts(plan, state, own, first)
            events.append(Event(EventKind.WATER, space, space, Reason.HOSE_SOON, facts, (seq,)))
        caps.called = caps.called if called is None else called
    return tuple(events)


def _take_fallen(plan: Plan, state: State, own: SpacePlan) -> float:
    """What the space's nozzles let fall on its caps since the last look, mm."""
    litres = 0.0
    for relay in own.by_role[Role.MIST]:
        litres += state.lines[relay].fallen_l
        state.lines[relay].fallen_l = 0.0
    return fallen_mm(litres, own.settings.crop_kg)


def _note_reach(
    plan: Plan, state: State, own: SpacePlan, at: tuple[int, Instant], minutes: float
) -> tuple[Event, ...]:
    """Counts how humid it is. Returns, when a part of the day is over, what that part came to lately.

    Args:
        at: journal number and moment of this look.
    """
    seq, now = at
    humid = state.spaces[own.settings.id].estimates.get(Quantity.HUMIDITY)
    if humid is None or humid.value is None or minutes <= 0.0:
        return ()
    part = part_of_day(plan, now)
    space, reach = own.settings.id, state.reach[own.settings.id]
    over, last, reach.part = part != reach.part, reach.part, part
    lately = span(reach, last) if over and last >= 0 else None
    band = own.settings.bands.get(Quantity.HUMIDITY)
    if band is not None and band.low is not None:
        score(reach, part, humid.value, band.low, minutes)
    note(reach, part, humid.value, minutes)
    if lately is None:
        return ()
    facts: Told = {
        "space": space,
        "low": round(lately[0], 1),
        "high": round(lately[1], 1),
        "part": last,
        "within_pct": _within_pct(reach),
    }
    return (Event(EventKind.WATER, space, space, Reason.OWN_REACH, facts, (seq,)),)


def _within_pct(reach: Reach) -> int | None:
    """Share of the last days it was in its band, or as near as it comes at that time of day."""
    return round(100.0 * reach.within_min / reach.known_min) if reach.known_min >= 60.0 else None


def part_of_day(plan: Plan, now: Instant) -> int:
    """0 from local midnight to 5, four hours each."""
    return local(now.wall_ms, plan.settings.zone).hour * PARTS // 24


# --- what is told --------------------------------------------------------------------------------------


def conditions(plan: Plan, state: State, now: Instant) -> list[Condition]:
    """Whether the hose is called for, by space; never where it is not open (any more)."""
    found = [
        Condition("hose", space, space, False)
        for space in plan.spaces
        if space not in state.caps and state.book.is_active("hose", space)
    ]
    for space, caps in state.caps.items():
        own = plan.spaces[space]
        first = outlook(caps, own.settings.hose, now.wall_ms)
        facts: Told = {}
        if first is not None:
            facts = _outlook_facts(plan, state, own, first)
            facts["by_ms"] = now.wall_ms + round(min(first.harm_h, SHOWN_MOST_H) * 60) * MINUTE_MS
        active = is_called(caps, own.settings.hose, first)
        found.append(Condition("hose", space, space, active, facts))
    return found


def _outlook_facts(plan: Plan, state: State, own: SpacePlan, first: Outlook) -> Told:
    _, measured = wind_m_s(plan, state, own, first.zone)
    return {
        "space": own.settings.id,
        "zone": first.zone,
        "dry_min": round(min(first.dry_h, SHOWN_MOST_H) * 60),
        "within_min": round(min(first.harm_h, SHOWN_MOST_H) * 60),
        "wind_known": measured,
        "wind": "" if measured else ", wind guessed",
    }


def told(plan: Plan, state: State, now: Instant, action: OperatorAction, seq: int) -> tuple[Event, ...]:
    """Takes in that somebody hosed an open space, or saw its caps just dry.

    Returns: lines in the log; a refusal where that means nothing.
    """
    space = action.subject
    caps = state.caps.get(space)
    if caps is None:
        facts: Told = {"subject": space, "who": action.who, "act": action.act.value}
        return (Event(EventKind.REFUSED, space, None, Reason.UNKNOWN_SUBJECT, facts, (seq,)),)
    own = plan.spaces[space]
    hose = own.settings.hose
    advance(caps, airs(plan, state, own), _take_fallen(plan, state, own), hose, now.wall_ms)
    said: Told = {"who": action.who, "space": space, "text": action.text}
    if action.act is Act.HOSED:
        soak(caps, hose, now.wall_ms)
        caps.called = False
        said["expected_h"] = round(min(caps.expected_h, SHOWN_MOST_H), 1)
        return (Event(EventKind.WATER, space, space, Reason.HOSED, said, (seq,)),)
    hours = seen_dry(caps, hose, now.wall_ms)
    if hours is None:
        facts = {"subject": f"a hosing of {space}", "who": action.who, "act": action.act.value}
        return (Event(EventKind.REFUSED, space, space, Reason.UNKNOWN_SUBJECT, facts, (seq,)),)
    said.update(hours=round(hours, 1), expected_h=round(min(caps.expected_h, SHOWN_MOST_H), 1))
    return (
        Event(EventKind.WATER, space, space, Reason.CAPS_DRY, said, (seq,)),
        _learnt(caps, space, f"{action.who} saw it dry", seq),
    )


def _learnt(caps: Caps, space: str, words: str, seq: int) -> Event:
    facts: Told = {"space": space, "pct": round(100.0 * caps.pace), "words": words}
    return Event(EventKind.WATER, space, space, Reason.SOAK_LEARNT, facts, (seq,))


def status(plan: Plan, state: State, own: SpacePlan, now: Instant) -> dict[str, object] | None:
    """What `now` shows of an open space's caps and of its own reach; None for any other space."""
    space = own.settings.id
    caps, reach = state.caps.get(space), state.reach.get(space)
    if caps is None or reach is None:
        return None
    first = outlook(caps, own.settings.hose, now.wall_ms)
    lately = span(reach, part_of_day(plan, now))
    return {
        "hosed_ms": caps.soaked_wall_ms,
        "outlook": None if first is None else _outlook_facts(plan, state, own, first),
        "pace": round(caps.pace, 2),
        "zones": {zone: round(water.water_mm, 3) for zone, water in caps.zones.items()},
        "reach": None if lately is None else [round(edge, 1) for edge in lately],
        "within_reach_pct": _within_pct(reach),
    }
