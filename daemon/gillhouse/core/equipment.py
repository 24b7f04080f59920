"""Equipment that spaces share: a pump behind mist valves, and one fan with a damper per space.

What lives here: which relays lead and which follows, and whose turn it is. What must not: dwell, caps and
commands (see `interlock`). How: spaces ask for their own valve or damper (the leaders), nobody needs to ask
for the pump or fan (the follower): it is on while any leader is, with its own least run. Every leader that
has to wait is told whose turn it is. Rules of the turn, in order: stronger authority, greater need, longest
off, id.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gillhouse.core.asks import Ask, Bar
from gillhouse.core.bars import Round, really_on
from gillhouse.core.outputs import Authority
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, SharedAirSettings

LEAST_TURN_MS = 120_000
"""A space that has the shared fan keeps it this long before mere need takes it away; common practice, no
source. A hard limit does not wait for it."""


FOLLOWER_TAIL_MS = 2_000
"""A pump's or fan's lease outlasts its valves or dampers by this, so that the next finds it running; the OFF
itself comes at once. Our choice."""


@dataclass(frozen=True, slots=True)
class Group:
    """One follower and its leaders."""

    id: str
    follower: str
    leaders: tuple[str, ...]
    most_at_once: int
    air: bool
    """A fan with dampers: a new greatest need takes the turn over; a valve that is open finishes first."""


@dataclass(frozen=True, slots=True)
class Turn:
    """What the others mean for a group's leaders."""

    waiting: Mapping[str, Bar]
    """Leaders that may not start now."""
    giving_way: Mapping[str, Bar]
    """Leaders that are on and must make room, after their least run unless the bar says INTERLOCK."""


def groups(settings: FarmSettings) -> tuple[Group, ...]:
    """All shared equipment, in the order the settings give it."""
    supplies = tuple(
        Group(supply.id, supply.pump, supply.valves, supply.most_at_once, air=False)
        for supply in settings.supplies.values()
    )
    airs = tuple(_air_group(shared) for shared in settings.shared_air.values())
    return supplies + airs


def turn(group: Group, now_round: Round, able: Sequence[str]) -> Turn:
    """Who may be on among the leaders of `group`.

    Args:
        able: leaders that are asked on and that only the others could hold back; those on now included.
    """
    if not group.air:
        return _supply_turn(group, now_round, able)
    everyone = _air_turn(group, now_round, group.leaders, able)
    relays = now_round.settings.relays
    driven = tuple(leader for leader in group.leaders if not relays[leader].advise_only)
    if len(driven) in (0, len(group.leaders)):
        return everyone
    # Those that are only advised take no turn away from those that are driven.
    alone = _air_turn(group, now_round, driven, able)
    advised = [leader for leader in group.leaders if leader not in driven]
    return Turn(
        {**alone.waiting, **{leader: bar for leader, bar in everyone.waiting.items() if leader in advised}},
        {
            **alone.giving_way,
            **{leader: bar for leader, bar in everyone.giving_way.items() if leader in advised},
        },
    )


def follower_ask(group: Group, now_round: Round) -> Ask | None:
    """The follower's wish while a leader is on, made from that leader's; None while none is."""
    relays = now_round.settings.relays
    follower = relays[group.follower]
    running = [leader for leader in group.leaders if really_on(now_round, leader, follower)]
    if not running:
        return None
    first = min(running, key=lambda leader: now_round.states[leader].authority)
    state = now_round.states[first]
    facts = {**state.last_facts, "valve": first, "other": space_name(now_round.settings, first)}
    facts["wanted"] = state.last_reason.value
    reason = Reason.DAMPER_OPEN if group.air else Reason.VALVE_OPEN
    return Ask(group.follower, True, None, state.authority, reason, state.causes, facts)


def leaders_end(group: Group, now_round: Round) -> int:
    """Monotonic time until which the follower is needed for the leaders that are on; 0 while none is."""
    follower = now_round.settings.relays[group.follower]
    ends = [
        now_round.states[leader].lease_end or 0
        for leader in group.leaders
        if really_on(now_round, leader, follower)
    ]
    return max(ends) + FOLLOWER_TAIL_MS if ends else 0


def space_name(settings: FarmSettings, relay: str) -> str:
    """What the grower calls the space of `relay`; the relay's id where it has none."""
    space = settings.relays[relay].space
    return relay if space is None or space not in settings.spaces else settings.spaces[space].name


def _air_group(shared: SharedAirSettings) -> Group:
    return Group(shared.id, shared.fan, tuple(shared.dampers.values()), 1, air=True)


def _in_turn(now_round: Round, able: Sequence[str]) -> list[str]:
    def rank(leader: str) -> tuple[int, float, int, str]:
        state, ask = now_round.states[leader], now_round.wishes[leader]
        return ask.authority, -_need(now_round, leader), state.since_mono_ms, leader

    return sorted(able, key=rank)


def _wait_for(now_round: Round, group: Group, first: str, authority: Authority = Authority.INTERLOCK) -> Bar:
    facts: dict[str, float | int | str | bool | None] = {
        "other": space_name(now_round.settings, first),
        "shared": group.id,
        "other_relay": first,
    }
    ask = now_round.wishes.get(first)
    if ask is not None and ask.on:
        facts["other_wanted"] = ask.reason.value
        facts["other_value"] = ask.facts.get("value")
    until = now_round.states[first].since_mono_ms + LEAST_TURN_MS if group.air else None
    return Bar(Reason.OTHER_SPACE_FIRST, facts, authority, until)


def _supply_turn(group: Group, now_round: Round, able: Sequence[str]) -> Turn:
    waiting: dict[str, Bar] = {}
    relays = now_round.settings.relays
    starting: list[str] = []
    for leader in _in_turn(now_round, able):
        if now_round.states[leader].on:
            continue
        taken = [other for other in group.leaders if really_on(now_round, other, relays[leader])]
        taken += [other for other in starting if relays[leader].advise_only or not relays[other].advise_only]
        if len(taken) < group.most_at_once:
            starting.append(leader)
        else:
            waiting[leader] = _wait_for(now_round, group, taken[0])
    return Turn(waiting, {})


def _air_turn(group: Group, now_round: Round, leaders: Sequence[str], able: Sequence[str]) -> Turn:
    harmed = [leader for leader in leaders if _is_harmed(now_round, leader)]
    running = [leader for leader in leaders if now_round.states[leader].on]
    ranked = [leader for leader in _in_turn(now_round, able) if leader in leaders]
    served = _served(now_round, ranked, running, harmed)
    if served is None and not harmed:
        return Turn({}, {})
    authority = Authority.INTERLOCK if harmed else Authority.DEMAND
    bar = _wait_for(now_round, group, served or harmed[0], authority)
    others = [leader for leader in running if leader != served]
    waiting = {leader: bar for leader in ranked if leader != served}
    if others and served is not None:
        # Its damper opens once the other is shut; until then its own bar names who is still there.
        waiting[served] = _wait_for(now_round, group, others[0], authority)
    return Turn(waiting, dict.fromkeys(others, bar))


def _served(now_round: Round, ranked: list[str], running: list[str], harmed: list[str]) -> str | None:
    """The leader to serve. Where spaces would be taken past a hard limit, only one of those is served."""
    if harmed:
        return next((leader for leader in ranked if leader in harmed), None)
    best = ranked[0] if ranked else None
    for leader in running:
        if leader in ranked and not _takes_over(now_round, best, leader):
            return leader
    return best


def _takes_over(now_round: Round, best: str | None, holder: str) -> bool:
    """`best` takes the turn: a person's wish at once, a greater need after the holder's least turn."""
    if best is None or best == holder:
        return False
    ours, theirs = now_round.wishes[best].authority, now_round.wishes[holder].authority
    if ours < min(theirs, Authority.DEMAND):
        return True
    if now_round.now.mono_ms < now_round.states[holder].since_mono_ms + LEAST_TURN_MS:
        return False
    return ours < theirs or _need(now_round, best) > _need(now_round, holder)


def _need(now_round: Round, leader: str) -> float:
    return now_round.situation.need.get(now_round.settings.relays[leader].space or "", 0.0)


def _is_harmed(now_round: Round, leader: str) -> bool:
    space = now_round.settings.relays[leader].space or ""
    return now_round.situation.harmed_by_shared_air.get(space, False)
