"""Why one relay may not be on now, or not yet: the tables of bars `interlock` goes through.

What lives here: one small function per bar, in two tables. `MAY_NOT_RUN` holds at every moment and cuts a
run short; `MAY_NOT_START` holds only against a start. What must not: the order of events and the commands
(see `interlock`), or relays that depend on one another (see `equipment`). How: the first bar of a table
wins, so the tables are ordered by what the grower most needs to hear.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from gillhouse.core import quota, water
from gillhouse.core.asks import Ask, Bar, RelayState, Return, Situation
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, RelaySettings, Role

HOUR_MS = 3_600_000
CHANGEOVER_MS = 2_000
"""Between one relay going off and one that may never run with it going on: time for the OFF to arrive.
Common practice (break before make); no source for the figure."""
TURNS_MS = 600_000
"""After mains came back a load that is wanted for the first time waits its turn so long; it outlasts the time
that router and boards are given (`guarding.BOOT_MS`). Our choice."""
LEAST_WATER_RUN_MS = 1_000
"""A held mist run shorter than this is not begun with the day's last drops."""


@dataclass(frozen=True, slots=True)
class Round:
    """One call of `grant`, as its parts see it."""

    now: Instant
    settings: FarmSettings
    states: dict[str, RelayState]
    situation: Situation
    wishes: Mapping[str, Ask]
    """The strongest ask for each relay."""
    rivals: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By relay: those that may never be on with it, whichever of the two declares it."""


BarCheck = Callable[[Round, RelaySettings, RelayState, Ask], Bar | None]


def is_forced(relay: RelaySettings, authority: Authority) -> bool:
    """Fresh air for people: a fan asked for by an emergency or interlock waits for no dwell.

    Source: common practice, that nothing but ventilation for people overrides a least off time.
    """
    return authority <= Authority.INTERLOCK and relay.role in (Role.FAN, Role.DAMPER)


def why_not_run(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """The first bar that forbids the relay to be on at all."""
    for check in MAY_NOT_RUN:
        bar = check(now_round, relay, state, ask)
        if bar is not None:
            return bar
    return None


def why_not_start(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """The first bar that forbids the relay, being off, to go on now."""
    for check in (*MAY_NOT_RUN, *MAY_NOT_START):
        bar = check(now_round, relay, state, ask)
        if bar is not None:
            return bar
    return None


def why_not_alone(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """The first bar that would hold the relay back even if those that exclude it were off."""
    for check in (*MAY_NOT_RUN, *MAY_NOT_START):
        bar = None if check in (_rival_on, _changeover) else check(now_round, relay, state, ask)
        if bar is not None:
            return bar
    return None


def unknowns(now_round: Round, relay: RelaySettings) -> dict[str, bool]:
    """Which inputs an interlock of this relay needs and does not have: fact name -> True."""
    space, situation = relay.space or "", now_round.situation
    found = {}
    if relay.only_door_closed and situation.door_open.get(space) is None:
        found["door_unknown"] = True
    if relay.not_with_people and situation.people.get(space) is None:
        found["people_unknown"] = True
    if relay.tank is not None and situation.tank_wet.get(relay.tank) is None:
        found["tank_unknown"] = True
    return found


def really_on(now_round: Round, other: str, seen_by: RelaySettings) -> bool:
    """`other` is on as far as `seen_by` is concerned."""
    state = now_round.states.get(other)
    return state is not None and state.on and matters(now_round, other, seen_by)


def matters(now_round: Round, other: str, seen_by: RelaySettings) -> bool:
    """What is only advised hinders nothing that is driven."""
    return seen_by.advise_only or not now_round.settings.relays[other].advise_only


def _locked(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    return Bar(Reason.RELAY_STUCK) if state.locked else None


def _barred(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    return now_round.situation.barred.get(relay.id)


def _people(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    if relay.not_with_people and now_round.situation.people.get(relay.space or "") is True:
        return Bar(Reason.PEOPLE_INSIDE)
    return None


def _door(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    if relay.only_door_closed and now_round.situation.door_open.get(relay.space or "") is True:
        return Bar(Reason.DOOR_OPEN)
    return None


def _uv(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """For a lamp that harms people 'not known' is not harmless."""
    if relay.role is not Role.UV:
        return None
    situation, space = now_round.situation, relay.space or ""
    if situation.door_open.get(space) is not False:
        opened = situation.door_open.get(space)
        return Bar(Reason.DOOR_OPEN if opened else Reason.DOOR_UNPROVED)
    if situation.people.get(space) is True:
        return Bar(Reason.PEOPLE_INSIDE)
    own = now_round.settings.spaces.get(space)
    entered = own is None or own.walk_in or space in situation.people
    if entered and situation.people.get(space) is None:
        return Bar(Reason.PEOPLE_UNPROVED)
    return None


def _tank(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    if relay.tank is not None and now_round.situation.tank_wet.get(relay.tank) is False:
        return Bar(Reason.TANK_EMPTY, {"tank": relay.tank})
    return None


def _freezing(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    facts = now_round.situation.freezing.get(relay.id)
    return None if facts is None else Bar(Reason.NEAR_FREEZING, facts)


def _rival_on(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    for other in now_round.rivals.get(relay.id, ()):
        if really_on(now_round, other, relay):
            return Bar(Reason.NEVER_WITH, {"other": other})
    return None


def _changeover(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    for other in now_round.rivals.get(relay.id, ()):
        rival = now_round.states.get(other)
        if rival is None or not matters(now_round, other, relay):
            continue
        if now_round.now.mono_ms < rival.since_mono_ms + CHANGEOVER_MS:
            return Bar(Reason.NEVER_WITH, {"other": other}, until=rival.since_mono_ms + CHANGEOVER_MS)
    return None


def _rest(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    if (
        state.rest_until is None
        or now_round.now.mono_ms >= state.rest_until
        or is_forced(relay, ask.authority)
    ):
        return None
    return Bar(Reason.LONGEST_RUN, authority=Authority.LONGEST_RUN, until=state.rest_until)


def _least_off(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    until = state.since_mono_ms + relay.least_off_ms
    if now_round.now.mono_ms >= until or is_forced(relay, ask.authority):
        return None
    return Bar(Reason.LEAST_OFF, until=until)


def _pulse_gap(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    asked_by_rule = ask.run_ms is not None and ask.authority >= Authority.DEMAND
    until = state.since_mono_ms + relay.pulse_gap_ms
    if relay.role is not Role.MIST or not asked_by_rule or not state.causes or now_round.now.mono_ms >= until:
        return None
    return Bar(Reason.WAITING_GAP, until=until)


def _starts(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    if relay.starts_per_h is None or is_forced(relay, ask.authority):
        return None
    recent = [start for start in state.starts if start.mono_ms > now_round.now.mono_ms - HOUR_MS]
    if len(recent) < relay.starts_per_h:
        return None
    until = recent[-relay.starts_per_h].mono_ms + HOUR_MS if relay.starts_per_h else None
    return Bar(Reason.STARTS_CAP, {"starts": len(recent), "starts_per_h": relay.starts_per_h}, until=until)


def _water(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    zone = now_round.settings.zone
    left = water.left_ms(now_round.now, relay, state, zone)
    if left is None:
        return None
    run_ms = LEAST_WATER_RUN_MS if ask.run_ms is None else ask.run_ms
    if left >= max(run_ms, relay.least_on_ms):
        return None
    used = water.litres_today(now_round.now, relay, state, zone)
    facts = {"litres": round(used, 3), "daily_litres": relay.daily_litres}
    return Bar(Reason.WATER_CAP, facts, until=water.day_ends_ms(now_round.now, zone))


def _running_time(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    zone = now_round.settings.zone
    left = quota.left_ms(now_round.now, relay, state, zone)
    if left is None or is_forced(relay, ask.authority) or left >= max(relay.least_on_ms, LEAST_WATER_RUN_MS):
        return None
    reason = quota.used_up(now_round.now, relay, state, zone)
    until = quota.frees_ms(now_round.now, relay, state, zone)
    return Bar(reason, authority=Authority.LONGEST_RUN, until=until)


def _staggered(now_round: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """After mains came back the first starts are one after the other, whenever each is wanted."""
    back = now_round.situation.returning.get(relay.id)
    if back is None or _had_its_turn(state, back):
        return None
    if now_round.now.mono_ms >= back.back_ms + max(TURNS_MS, back.apart_ms * (len(back.relays) + 1)):
        return None
    turns = [
        now_round.states[other].since_mono_ms
        for other in back.relays
        if other in now_round.states
        and matters(now_round, other, relay)
        and _had_its_turn(now_round.states[other], back)
    ]
    until = max([back.back_ms, *turns]) + back.apart_ms
    return Bar(Reason.STAGGERED, until=until) if now_round.now.mono_ms < until else None


def _had_its_turn(state: RelayState, back: Return) -> bool:
    """It runs, or has run, since the mains are back."""
    return state.on or state.since_mono_ms > back.back_ms


MAY_NOT_RUN: tuple[BarCheck, ...] = (_barred, _locked, _people, _uv, _freezing, _door, _tank, _rival_on)
MAY_NOT_START: tuple[BarCheck, ...] = (
    _rest, _water, _running_time, _starts, _staggered, _least_off, _changeover, _pulse_gap,
)  # fmt: skip
