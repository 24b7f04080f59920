"""One relay's run: how it begins, carries on, is renewed, is limited and ends; and what is said of it.

What lives here: everything that changes a `RelayState` and puts a command or event in the round's list.
What must not: whether any of it should happen (see `interlock`). How: each function does one such thing to
one relay, so a command and the state it leaves behind are made in the same place.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from gillhouse.core import bars, echo, equipment, quota, water
from gillhouse.core.asks import Ask, Bar, RelayState
from gillhouse.core.bars import HOUR_MS, Round
from gillhouse.core.outputs import Authority, Command, Event, EventKind
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings

Fact = float | int | str | bool | None


@dataclass(slots=True)
class Pass:
    """The round, and what has come of it so far."""

    round: Round
    leads: Mapping[str, equipment.Group]
    followers: Mapping[str, equipment.Group]
    follower_bars: Mapping[str, Bar | None]
    """By group: why its pump or fan cannot run, which holds back every valve or damper too."""
    turns: dict[str, Bar] = field(default_factory=dict)
    """By leader: why it is not its turn."""
    commands: list[Command] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)


def limit_reached(round_: Round, relay: RelaySettings, state: RelayState) -> Bar | None:
    """The bar that ends a run at its longest, or at the day's last drop."""
    limit = _limit(relay, state)
    if limit is None or round_.now.mono_ms < limit:
        return None
    if state.limit_reason is Reason.WATER_CAP:
        left = water.left_ms(round_.now, relay, state, round_.settings.zone)
        if left is None or left > 0:  # a new local day has begun
            _set_limit(round_, relay, state)
            return limit_reached(round_, relay, state)
        return Bar(Reason.WATER_CAP, {"daily_litres": relay.daily_litres}, Authority.INTERLOCK)
    if state.limit_reason in (Reason.HOUR_USED, Reason.DAY_USED):
        left = quota.left_ms(round_.now, relay, state, round_.settings.zone)
        if left is None or left > 0:  # the hour has moved on, or a new day has begun
            _set_limit(round_, relay, state)
            return limit_reached(round_, relay, state)
        return Bar(state.limit_reason, {}, Authority.LONGEST_RUN)
    return Bar(Reason.LONGEST_RUN, {}, Authority.LONGEST_RUN)


def _limit(relay: RelaySettings, state: RelayState) -> int | None:
    return None if bars.is_forced(relay, state.authority) else state.limit_end


def let_go(relay: RelaySettings, state: RelayState, mono_ms: int) -> bool:
    """Whether the board has switched off by its own timer, because no renewal came in time."""
    return state.on and relay.own_timer and state.lease_end is not None and mono_ms >= state.lease_end


def _set_limit(round_: Round, relay: RelaySettings, state: RelayState) -> None:
    """When this run must end at the latest, and why; `state.since_mono_ms` is its start."""
    state.limit_end, state.limit_reason = None, None
    if relay.longest_run_ms is not None:
        state.limit_end, state.limit_reason = state.since_mono_ms + relay.longest_run_ms, Reason.LONGEST_RUN
    left = water.left_ms(round_.now, relay, state, round_.settings.zone)
    if left is not None and (state.limit_end is None or round_.now.mono_ms + left < state.limit_end):
        state.limit_end, state.limit_reason = round_.now.mono_ms + left, Reason.WATER_CAP
    left = quota.left_ms(round_.now, relay, state, round_.settings.zone)
    if left is not None and (state.limit_end is None or round_.now.mono_ms + left < state.limit_end):
        why = quota.used_up(round_.now, relay, state, round_.settings.zone)
        state.limit_end, state.limit_reason = round_.now.mono_ms + left, why


def least_on_end(pass_: Pass, relay: RelaySettings, state: RelayState) -> int:
    """The least on time; an open damper also waits for its fan's, which would push against it shut."""
    until = state.since_mono_ms + relay.least_on_ms
    group = pass_.leads.get(relay.id)
    if group is None or not group.air:
        return until
    fan, fan_state = pass_.round.settings.relays[group.follower], pass_.round.states[group.follower]
    return max(until, fan_state.since_mono_ms + fan.least_on_ms) if fan_state.on else until


def adopt(round_: Round, relay: RelaySettings, state: RelayState, ask: Ask) -> None:
    """Carries on under what is asked now: a hold replaces a pulse, a stronger pulse sets a new end."""
    if not ask.on:
        return
    if ask.run_ms is None:
        state.run_end = None
    elif state.run_end is None or ask.authority < state.authority:
        least_end = state.since_mono_ms + relay.least_on_ms
        state.run_end = max(round_.now.mono_ms + ask.run_ms, state.run_end or 0, least_end)
    else:
        return  # the pulse that runs is the pulse that was asked for
    state.authority = ask.authority
    state.refused = None
    if ask.causes:
        state.causes = ask.causes
    state.last_reason, state.last_facts = ask.reason, dict(ask.facts)


def stop(pass_: Pass, relay: RelaySettings, bar: Bar, causes: tuple[int, ...]) -> None:
    """Ends the run, and books its water. After a longest run the relay rests."""
    now, state = pass_.round.now, pass_.round.states[relay.id]
    water.settle(now, relay, state, pass_.round.settings.zone)
    quota.book(now, relay, state, pass_.round.settings.zone)
    facts: dict[str, Fact] = {**bar.facts, "run_s": round((now.mono_ms - state.since_mono_ms) / 1000, 1)}
    if relay.litres_per_h:
        facts["litres"] = round(relay.litres_per_h * (now.mono_ms - state.since_mono_ms) / HOUR_MS, 3)
    if bar.reason is Reason.LONGEST_RUN:
        state.rest_until = now.mono_ms + relay.rest_after_longest_ms
    if bar.authority <= Authority.LONGEST_RUN and pass_.round.wishes[relay.id].on:
        state.refused, state.refused_facts = bar.reason, dict(bar.facts)
    elif bar.reason is not Reason.RUN_ENDED:
        state.refused = None
    state.on, state.since_mono_ms = False, now.mono_ms
    state.lease_end = state.run_end = state.limit_end = state.limit_reason = state.water_from = None
    _say(pass_, relay, Command(relay.id, False, 0, bar.authority, bar.reason, causes or state.causes, facts))


def start(pass_: Pass, relay: RelaySettings, ask: Ask) -> None:
    """Begins a run as asked, within its limits."""
    round_ = pass_.round
    now, state = round_.now, round_.states[relay.id]
    state.on, state.since_mono_ms = True, now.mono_ms
    state.rest_until, state.refused = None, None
    state.authority, state.last_reason, state.last_facts = ask.authority, ask.reason, dict(ask.facts)
    state.causes = ask.causes
    if relay.starts_per_h is not None:
        state.starts = [start for start in state.starts if start.mono_ms > now.mono_ms - HOUR_MS] + [now]
    state.run_end = None if ask.run_ms is None else now.mono_ms + max(ask.run_ms, relay.least_on_ms)
    _set_limit(round_, relay, state)
    group = pass_.leads.get(relay.id)
    if group is not None:
        _bound_by_follower(pass_, relay, state, group)
    state.lease_from, state.lease_end = now.mono_ms, _covered_until(pass_, relay, state)
    water.settle(now, relay, state, round_.settings.zone)
    facts = {**ask.facts, **bars.unknowns(round_, relay)}
    lease_ms = state.lease_end - now.mono_ms
    _say(pass_, relay, Command(relay.id, True, lease_ms, ask.authority, ask.reason, ask.causes, facts))


def _bound_by_follower(pass_: Pass, relay: RelaySettings, state: RelayState, group: equipment.Group) -> None:
    """A valve's run ends with its pump's longest run; a damper stays open for its fan's least run."""
    follower, behind = pass_.round.settings.relays[group.follower], pass_.round.states[group.follower]
    if group.air and not behind.on and state.run_end is not None:
        state.run_end = max(state.run_end, state.since_mono_ms + follower.least_on_ms)
    end = _limit(follower, behind) if behind.on else None
    if end is not None and not follower.advise_only and (state.limit_end is None or end < state.limit_end):
        state.limit_end, state.limit_reason = end, behind.limit_reason


def refuse(pass_: Pass, relay: RelaySettings, bar: Bar) -> None:
    """Notes why the wish is not met; tells it once, when that begins or its reason changes."""
    round_ = pass_.round
    state, ask = round_.states[relay.id], round_.wishes[relay.id]
    wait(state, bar)
    if state.refused is bar.reason:
        return
    state.refused, state.refused_facts = bar.reason, dict(bar.facts)
    if bar.reason is Reason.WAITING_GAP:
        return  # ordinary pacing between two pulses, not worth a line each time
    facts: dict[str, Fact] = {**ask.facts, **bar.facts, "wanted": ask.reason.value, "wanted_on": ask.on}
    pass_.events.append(Event(EventKind.REFUSED, relay.id, relay.space, bar.reason, facts, ask.causes))


def wait(state: RelayState, bar: Bar) -> None:
    """Lets the relay be looked at again when the bar may be over."""
    if bar.until is not None:
        state.wake = bar.until if state.wake is None else min(state.wake, bar.until)


def _covered_until(pass_: Pass, relay: RelaySettings, state: RelayState) -> int:
    """How far a lease given now reaches: the pulse, else the longest lease; never past the run's limit."""
    mono = pass_.round.now.mono_ms
    end = mono + relay.lease_ms
    if state.run_end is not None:
        end = min(end, state.run_end)
    group = pass_.followers.get(relay.id)
    if group is not None:
        leaders = equipment.leaders_end(group, pass_.round)
        if leaders or not pass_.round.wishes[relay.id].on:
            # Against shut valves it runs no longer than its own least run.
            end = min(end, max(leaders, state.since_mono_ms + relay.least_on_ms, mono))
    elif not pass_.round.wishes[relay.id].on and state.run_end is None:
        end = min(end, max(least_on_end(pass_, relay, state), mono))
    limit = _limit(relay, state)
    return end if limit is None else min(end, limit)


def keep(pass_: Pass, relay: RelaySettings) -> None:
    """Renews a lease at its half, says again what a board has not been told, sets the next look."""
    now, state = pass_.round.now, pass_.round.states[relay.id]
    if not state.on:
        if not state.told:
            why = Reason.TOLD_AGAIN if state.told_once else Reason.STARTING
            _say(pass_, relay, Command(relay.id, False, 0, Authority.DEFAULT, why, state.causes))
    elif state.lease_end is not None:
        covered = _covered_until(pass_, relay, state)
        half = state.lease_from + (state.lease_end - state.lease_from) // 2
        # A pump's lease is stretched as soon as a valve needs it for longer, up to the longest lease.
        stretch = relay.id in pass_.followers and covered < now.mono_ms + relay.lease_ms
        if (covered > state.lease_end and (now.mono_ms >= half or stretch)) or not state.told:
            _renew(pass_, relay, max(covered, state.lease_end))
        _set_wake(pass_, relay, state)
    if state.wake is not None and state.wake <= now.mono_ms:
        state.wake = None  # what was waited for is here; only another input changes anything
    due = echo.due_ms(now, relay, state)
    if due is not None:
        state.wake = due if state.wake is None else min(state.wake, due)


def _renew(pass_: Pass, relay: RelaySettings, until: int) -> None:
    now, state = pass_.round.now, pass_.round.states[relay.id]
    state.lease_from, state.lease_end = now.mono_ms, until
    ask = pass_.round.wishes[relay.id]
    if ask.on and ask.causes:
        state.causes = ask.causes
    facts = {**state.last_facts, **bars.unknowns(pass_.round, relay)}
    command = Command(
        relay.id,
        True,
        until - now.mono_ms,
        state.authority,
        state.last_reason,
        state.causes,
        facts,
        renewal=True,
    )
    _say(pass_, relay, command)


def _set_wake(pass_: Pass, relay: RelaySettings, state: RelayState) -> None:
    lease_end = state.lease_end or 0
    times = [lease_end, _limit(relay, state), state.run_end, state.wake]
    if state.run_end is None or state.run_end > lease_end:
        times.append(state.lease_from + (lease_end - state.lease_from) // 2)
    after = [time for time in times if time is not None and time > pass_.round.now.mono_ms]
    state.wake = min(after, default=None)


def _say(pass_: Pass, relay: RelaySettings, command: Command) -> None:
    """Queues a command, marked if only advised; what is off at the start is not advised at all."""
    round_, state = pass_.round, pass_.round.states[relay.id]
    state.told = state.told_once = True
    if not command.renewal:
        state.told_at, state.echoed = round_.now.mono_ms, None
    if relay.advise_only and not command.on and command.reason is Reason.STARTING:
        return
    causes = command.causes
    if not command.on:
        causes = round_.situation.causes + tuple(seq for seq in causes if seq not in round_.situation.causes)
    pass_.commands.append(replace(command, causes=causes, advise=relay.advise_only))
