"""The last step before a relay moves: asks in, commands out, whatever the reasons behind the asks.

What lives here: `grant`, one pure pass over all relays, and `next_deadline_ms`. What must not: why anybody
wants mist or air (see `demand`), single bars (see `bars`), whose turn it is at shared equipment (see
`equipment`). How, in this order: (1) runs that must or may end, end; (2) shared equipment says whose turn
it is; (3) what is off and asked on goes on, or is refused with a reason; (4) pumps and fans follow their
valves and dampers; (5) what stays on is renewed at half its lease. Authority, strongest first: emergency,
interlock, longest run, override, demand, schedule, default. Every time here is monotonic; only the day's
litres look at the calendar. Nothing here reads a clock.
"""

from collections.abc import Mapping, Sequence

from gillhouse.core import bars, echo, equipment, runs, water
from gillhouse.core.asks import Ask, Bar, Granted, RelayState, Situation
from gillhouse.core.bars import Round
from gillhouse.core.carryover import resettle, restart
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority
from gillhouse.core.reasons import Reason
from gillhouse.core.runs import Pass
from gillhouse.core.settings import FarmSettings, RelaySettings

__all__ = ["Ask", "Granted", "RelayState", "Situation", "grant", "next_deadline_ms", "resettle", "restart"]


def grant(
    now: Instant,
    settings: FarmSettings,
    states: dict[str, RelayState],
    asks: Sequence[Ask],
    situation: Situation,
) -> Granted:
    """One round: what every relay shall do now. Changes `states`, and nothing else.

    Args:
        states: by relay id; a relay without one is taken as just switched off.
        asks: the standing wish for each relay; the strongest counts where there are two, and a relay nobody
            asks for is asked off. A pulse (`run_ms`) runs to its end whatever demand or schedule say later;
            an OFF ask cuts it only with the authority of an override or stronger, and not weaker than what
            began it.

    Returns:
        Commands in the order to carry them out, ends before starts; events for refusals that begin or change.
    """
    round_ = _begin(now, settings, states, asks, situation)
    shared = equipment.groups(settings)
    leads = {leader: group for group in shared for leader in group.leaders}
    followers = {group.follower: group for group in shared}
    pass_ = Pass(round_, leads, followers, {group.id: _follower_bar(round_, group) for group in shared})
    moving = [relay for id, relay in settings.relays.items() if id in followers or not _rests(round_, relay)]
    plain = [relay for relay in moving if relay.id not in followers]
    for relay in plain:
        _end(pass_, relay)
    for group in shared:
        _take_turns(pass_, group)
    for relay in sorted(plain, key=lambda item: round_.wishes[item.id].authority):
        _begin_run(pass_, relay)
    for follower in followers:
        _follow(pass_, settings.relays[follower])
    for name in round_.rivals:
        _look_at_changeover(pass_, settings.relays[name])
    for relay in moving:
        runs.keep(pass_, relay)
    return Granted(tuple(pass_.commands), tuple(pass_.events))


def next_deadline_ms(states: Mapping[str, RelayState], settings: FarmSettings) -> int | None:
    """When `grant` must be called again though no input comes: a run's end, a renewal, the end of a wait.

    Returns:
        Monotonic milliseconds, or None.
    """
    wakes = [
        state.wake for relay, state in states.items() if state.wake is not None and relay in settings.relays
    ]
    return min(wakes, default=None)


def _begin(
    now: Instant,
    settings: FarmSettings,
    states: dict[str, RelayState],
    asks: Sequence[Ask],
    situation: Situation,
) -> Round:
    wishes: dict[str, Ask] = {}
    for ask in asks:
        held = wishes.get(ask.relay)
        if held is None or ask.authority < held.authority:
            wishes[ask.relay] = ask
    rivals: dict[str, tuple[str, ...]] = {}
    for relay in settings.relays.values():
        if relay.id not in wishes:
            wishes[relay.id] = Ask(relay.id, False, None, Authority.DEFAULT, Reason.NOT_ASKED)
        if relay.id not in states:
            states[relay.id] = RelayState(since_mono_ms=now.mono_ms)
        state = states[relay.id]
        state.wake = None
        if relay.daily_litres is not None:
            water.settle(now, relay, state, settings.zone)
        echo.check(now, relay, state)
        for other in relay.never_with:
            if other not in settings.relays:
                continue
            rivals[relay.id] = (*rivals.get(relay.id, ()), other)
            rivals[other] = (*rivals.get(other, ()), relay.id)
    return Round(now, settings, states, situation, wishes, rivals)


def _rests(round_: Round, relay: RelaySettings) -> bool:
    """Off, asked off and told so, with no echo to come: as most relays are most of the time.

    Not for pumps and fans that spaces share, which begin without being asked for.
    """
    state, ask = round_.states[relay.id], round_.wishes[relay.id]
    if state.on or ask.on or not state.told or relay.echo_within_ms is not None:
        return False
    state.refused = None
    return True


def _follower_bar(round_: Round, group: equipment.Group) -> Bar | None:
    relay, state = round_.settings.relays[group.follower], round_.states[group.follower]
    ask = round_.wishes[group.follower]
    if not ask.on and ask.authority < Authority.DEMAND:
        return Bar(ask.reason, ask.facts, ask.authority)
    strongest = min(
        (round_.wishes[leader].authority for leader in group.leaders if round_.wishes[leader].on),
        default=Authority.DEFAULT,
    )
    trial = Ask(group.follower, True, None, strongest, Reason.VALVE_OPEN)
    if not state.on:
        return bars.why_not_start(round_, relay, state, trial)
    bar = bars.why_not_run(round_, relay, state, trial) or runs.limit_reached(round_, relay, state)
    if bar is None and runs.let_go(relay, state, round_.now.mono_ms):
        needed = any(round_.states[leader].on for leader in group.leaders)
        why = Reason.LET_GO if needed else Reason.LEAST_OFF  # else it only runs out, as it should
        return Bar(why, {}, Authority.DEFAULT, until=round_.now.mono_ms + 1)
    return bar


# (1) ends


def _end(pass_: Pass, relay: RelaySettings) -> None:
    """Ends the run of `relay` if it must or may end now."""
    round_ = pass_.round
    state, ask = round_.states[relay.id], round_.wishes[relay.id]
    if not state.on:
        return
    bar = _why_cut(pass_, relay, state, ask)
    if bar is not None:
        runs.stop(pass_, relay, bar, ask.causes if ask.on else state.causes)
        return
    if _pulse_protected(round_.now, state, ask):
        return
    wish = _why_soft_end(pass_, relay, state, ask)
    if wish is None:
        runs.adopt(round_, relay, state, ask)
    elif round_.now.mono_ms >= runs.least_on_end(pass_, relay, state):
        runs.stop(pass_, relay, wish, ask.causes)
    else:
        until = runs.least_on_end(pass_, relay, state)
        runs.refuse(pass_, relay, Bar(Reason.LEAST_ON, {"wanted_off": wish.reason.value}, until=until))


def _why_cut(pass_: Pass, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """Ends that wait for nothing: emergency, interlock, longest run, a pulse over, a lease run out."""
    round_, mono = pass_.round, pass_.round.now.mono_ms
    if not ask.on and ask.authority <= Authority.LONGEST_RUN:
        return Bar(ask.reason, ask.facts, ask.authority)
    group = pass_.leads.get(relay.id)
    if group is not None and round_.states[group.follower].on:
        behind = _behind(pass_, group, relay)
        if behind is not None:
            return behind
    bar = bars.why_not_run(round_, relay, state, ask)
    if bar is not None:
        return bar
    if state.run_end is not None and mono >= state.run_end <= (state.limit_end or state.run_end):
        return Bar(Reason.RUN_ENDED, {"wanted": state.last_reason.value}, state.authority)
    bar = runs.limit_reached(round_, relay, state)
    if bar is not None:
        return bar
    if runs.let_go(relay, state, mono) and (ask.on or mono < runs.least_on_end(pass_, relay, state)):
        return Bar(Reason.LET_GO, {}, Authority.DEFAULT)
    return None


def _pulse_protected(now: Instant, state: RelayState, ask: Ask) -> bool:
    """A pulse in progress that this OFF ask is too weak to cut."""
    if ask.on or state.run_end is None or now.mono_ms >= state.run_end:
        return False
    return ask.authority > Authority.OVERRIDE or ask.authority > state.authority


def _why_soft_end(pass_: Pass, relay: RelaySettings, state: RelayState, ask: Ask) -> Bar | None:
    """Ends that wait for the least on time."""
    if not ask.on:
        return Bar(ask.reason, ask.facts, ask.authority)
    return _way_for_stronger(pass_, relay, ask, state.authority)


def _way_for_stronger(pass_: Pass, relay: RelaySettings, ask: Ask, authority: Authority) -> Bar | None:
    """Why `relay`, on or wanted with `authority`, makes way for a stronger wish for one that excludes it."""
    if ask.reason in (Reason.VALVE_OPEN, Reason.DAMPER_OPEN):
        return None  # a pump or fan goes off after what it serves
    round_, rivals = pass_.round, pass_.round.rivals.get(relay.id, ())
    group = pass_.leads.get(relay.id)
    if group is not None:
        rivals = (*rivals, *round_.rivals.get(group.follower, ()))
    for other in rivals:
        rival_ask = round_.wishes[other]
        if rival_ask.on and rival_ask.authority < authority and bars.matters(round_, other, relay):
            rival = round_.settings.relays[other]
            if bars.why_not_alone(round_, rival, round_.states[other], rival_ask) is None:
                return Bar(Reason.NEVER_WITH, {"other": other}, rival_ask.authority)
    return None


# (2) turns at shared equipment


def _take_turns(pass_: Pass, group: equipment.Group) -> None:
    """Notes which leaders have to wait, and ends those that have to make room."""
    round_ = pass_.round
    able = [leader for leader in group.leaders if _is_able(pass_, leader)]
    turn = equipment.turn(group, round_, able)
    for leader, bar in turn.giving_way.items():
        relay, state = round_.settings.relays[leader], round_.states[leader]
        until = state.since_mono_ms + relay.least_on_ms
        if bar.authority <= Authority.INTERLOCK or round_.now.mono_ms >= until:
            runs.stop(pass_, relay, bar, round_.wishes[leader].causes)
            pass_.turns[leader] = bar
        else:
            runs.wait(state, Bar(bar.reason, until=until))
    # What has just gone off makes room at once.
    pass_.turns.update(equipment.turn(group, round_, able).waiting)


def _is_able(pass_: Pass, leader: str) -> bool:
    round_ = pass_.round
    relay, state, ask = round_.settings.relays[leader], round_.states[leader], round_.wishes[leader]
    if not ask.on:
        return False
    return state.on or bars.why_not_start(round_, relay, state, ask) is None


# (3) starts


def _begin_run(pass_: Pass, relay: RelaySettings) -> None:
    """Turns `relay` on if that is asked and nothing is against it; else notes why not."""
    round_ = pass_.round
    state, ask = round_.states[relay.id], round_.wishes[relay.id]
    if state.on:
        return
    if not ask.on:
        state.refused = None
        return
    group = pass_.leads.get(relay.id)
    bar = (
        bars.why_not_start(round_, relay, state, ask)
        or pass_.turns.get(relay.id)
        or _way_for_stronger(pass_, relay, ask, ask.authority)
    )
    if bar is None and group is not None:
        bar = _behind(pass_, group, relay)
    if bar is not None:
        alone = bars.why_not_alone(round_, relay, state, ask) if bar.reason is Reason.NEVER_WITH else None
        if alone is not None:
            runs.wait(state, alone)  # the one in its way makes way only when nothing else holds this back
        runs.refuse(pass_, relay, bar)
        return
    if any(command.relay == relay.id for command in pass_.commands):
        state.wake = round_.now.mono_ms + 1  # it has just gone off: one change a round
        return
    runs.start(pass_, relay, ask)
    if group is not None and not round_.states[group.follower].on:
        _start_follower(pass_, group)


def _look_at_changeover(pass_: Pass, relay: RelaySettings) -> None:
    """What was refused for a pump or fan that has gone off in this very round is looked at again."""
    round_ = pass_.round
    state, ask = round_.states[relay.id], round_.wishes[relay.id]
    if not state.on and ask.on and state.refused is Reason.NEVER_WITH:
        bar = bars.why_not_start(round_, relay, state, ask)
        if bar is not None:
            runs.wait(state, bar)


def _behind(pass_: Pass, group: equipment.Group, leader: RelaySettings) -> Bar | None:
    """Why the pump or fan behind `leader` cannot serve it; one that is only advised holds nothing back."""
    follower = pass_.round.settings.relays[group.follower]
    if follower.advise_only and not leader.advise_only:
        return None
    bar = pass_.follower_bars[group.id]
    if bar is None:
        # Something else may have gone on in this very round.
        state, ask = pass_.round.states[group.follower], pass_.round.wishes[group.follower]
        bar = bars.why_not_run(pass_.round, follower, state, ask)
    if bar is None:
        return None
    facts = {**bar.facts, "shared": group.id, "behind": group.follower}
    return Bar(bar.reason, facts, bar.authority, bar.until)


# (4) pumps and fans


def _start_follower(pass_: Pass, group: equipment.Group) -> None:
    ask = equipment.follower_ask(group, pass_.round)
    relay = pass_.round.settings.relays[group.follower]
    state = pass_.round.states[group.follower]
    if ask is not None and (
        not relay.advise_only or bars.why_not_start(pass_.round, relay, state, ask) is None
    ):
        runs.start(pass_, relay, ask)


def _follow(pass_: Pass, relay: RelaySettings) -> None:
    """Ends, or starts by its own ask, a pump or fan whose leaders have been dealt with."""
    round_, group = pass_.round, pass_.followers[relay.id]
    derived = equipment.follower_ask(group, round_)
    own = round_.wishes[relay.id]
    if derived is not None and not (not own.on and own.authority < Authority.DEMAND):
        ask = derived
    elif own.on or own.authority < Authority.DEMAND:
        ask = own
    else:
        ask = Ask(relay.id, False, None, Authority.DEMAND, Reason.RUN_ENDED)
    wishes = dict(round_.wishes)
    wishes[relay.id] = ask
    pass_.round = Round(round_.now, round_.settings, round_.states, round_.situation, wishes, round_.rivals)
    _end(pass_, relay)
    _begin_run(pass_, relay)
