"""What follows while a space is in a mode: which relays are asked on or barred, and what outlasts a restart.

Here: asks and bars for the equipment, who is taken to be inside, a start and a clock that is set. Not here:
how a mode begins by a person (`mode_acts`) and ends by itself (`mode_turns`). Air for people is asked with
the authority of an interlock: no override, no rest and no longest run goes before it. A mode outlasts a
restart, for whoever is inside is still inside.
"""

from collections.abc import Iterable

from gillhouse.core import arrivals, breathed, by_hand, mode_acts, mode_turns, resets
from gillhouse.core.arrivals import Step
from gillhouse.core.asks import Ask, Bar
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Act, ClockStep, OperatorAction, Started
from gillhouse.core.modes import WITH_PEOPLE, Mode, ModeState, modes_of
from gillhouse.core.outputs import Authority, Command, Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.space_plan import SpacePlan
from gillhouse.core.switches import said

BY_HAND = (Act.OVERRIDE, Act.RELEASE)


def take_action(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Gives what a person did to whoever it concerns."""
    if item.act in BY_HAND:
        by_hand.take(plan, state, step, item)
    elif item.act in mode_acts.ACTS:
        mode_acts.take(plan, state, step, item)
        mode_turns.look(plan, state, step)
    elif item.act is Act.RESET:
        resets.take(plan, state, step, item)
    else:
        arrivals.take_action(plan, state, step, item)


# --- who is inside -------------------------------------------------------------------------------------


def people(plan: Plan, state: State) -> dict[str, bool | None]:
    """By space: whether somebody is inside, by switch, button, word, or because of what is done there.

    A switch that said so for longer than anybody stays is not believed: then it is not known.
    """
    found: dict[str, bool | None] = {}
    for space, own in plan.spaces.items():
        stays = state.stays.get(space)
        told = said(plan, state, Quantity.PEOPLE, space)
        if _with_people(own, state):
            found[space] = True
        elif stays is not None and stays.spent and told:
            found[space] = None
        elif space in plan.switches[Quantity.PEOPLE]:
            found[space] = told
    return found


def _with_people(own: SpacePlan, state: State) -> bool:
    modes = modes_of(state, own.settings.id)
    return Mode.PEOPLE_INSIDE in modes or (
        own.settings.walk_in and any(mode in WITH_PEOPLE for mode in modes)
    )


# --- equipment -----------------------------------------------------------------------------------------


def asks(plan: Plan, state: State, step: Step) -> list[Ask]:
    """Fresh air while somebody is inside, while a space is cleaned, and before somebody goes in."""
    found = []
    for space, own in plan.spaces.items():
        why = _air_for(own, state)
        if why is None:
            continue
        authority, reason, one = why
        facts: Facts = {"space": space, "who": one.who}
        found += [Ask(relay, True, None, authority, reason, (one.seq,), facts) for relay, _ in own.flows]
    return found


def _air_for(own: SpacePlan, state: State) -> tuple[Authority, Reason, ModeState] | None:
    stays, one = state.stays.get(own.settings.id), state.modes.get(own.settings.id)
    if stays is not None and stays.now is not None:
        return Authority.INTERLOCK, Reason.AIR_INSIDE, stays.now
    if one is None:
        return None
    if one.mode is Mode.CLEANING:
        return Authority.INTERLOCK, Reason.AIR_CLEANING, one
    if one.mode is Mode.HARVEST and own.settings.walk_in:
        return Authority.INTERLOCK, Reason.AIR_INSIDE, one
    return (Authority.OVERRIDE, Reason.AIRING, one) if one.mode is Mode.AIRING else None


_DRY: dict[Mode, Reason] = {
    Mode.CLEANING: Reason.CLEANING, Mode.HARVEST: Reason.HARVEST, Mode.AIRING: Reason.AIRING
}  # fmt: skip
"""No mist while a space is in one of these, whatever the relay's own settings say."""


def barred(plan: Plan, state: State) -> dict[str, Bar]:
    """Relays that what their space is in keeps off."""
    found: dict[str, Bar] = {}
    for space, own in plan.spaces.items():
        one = state.modes.get(space)
        if one is not None and one.mode in _DRY:
            bar = Bar(_DRY[one.mode], {"space": space, "who": one.who})
            found.update(dict.fromkeys(own.by_role[Role.MIST], bar))
    return found


def as_in(state: State, space: str, wished: list[Ask]) -> list[Ask]:
    """What a space that is out of use still asks: air for people, and a lamp that cleans it."""
    one = state.modes.get(space)
    if one is None or one.mode is not Mode.EMPTY:
        return wished
    return [
        Ask(ask.relay, False, None, Authority.DEFAULT, Reason.OUT_OF_USE)
        if ask.on and ask.authority > Authority.INTERLOCK
        else ask
        for ask in wished
    ]


def given(plan: Plan, state: State, commands: Iterable[Command]) -> None:
    """Counts the pulses of mist that bring the air back after picking."""
    for command in commands:
        space = plan.relay_space.get(command.relay)
        if space in state.recovering and command.on and not command.renewal:
            state.recovering[space].pulses += plan.spaces[space].relays[command.relay] is Role.MIST


def is_empty(state: State, space: str) -> bool:
    """Out of use: what its controllers would do is no story, and no measure of anything."""
    one = state.modes.get(space)
    return one is not None and one.mode is Mode.EMPTY


# --- a start, and a clock that is set ------------------------------------------------------------------


def restart(plan: Plan, state: State, step: Step, item: Started) -> None:
    """Goes on after a stop: what a space was in, it is in, with the time that is left by the wall."""
    by_hand.restart(plan, state, step)
    state.kept_ms = step.now.mono_ms
    state.recovering.clear()
    stays = [stay.now for stay in state.stays.values() if stay.now is not None]
    for one in (*state.modes.values(), *stays):
        _go_on(step, one, item.clock_sure)


def _go_on(step: Step, one: ModeState, clock_sure: bool) -> None:
    now = step.now
    one.looked_ms = one.door_ms = now.mono_ms
    gone_ms = max(now.wall_ms - one.since_wall_ms, 0) if clock_sure else 0
    one.since_ms = now.mono_ms - gone_ms
    if one.until_wall_ms is not None:
        whole_ms = one.until_wall_ms - one.since_wall_ms
        left_ms = min(max(one.until_wall_ms - now.wall_ms, 0), whole_ms) if clock_sure else whole_ms
        one.until_ms = now.mono_ms + left_ms


def take_clock(plan: Plan, state: State, step: Step, item: ClockStep) -> None:
    """What was noted by the old wall clock is told by the new one; what runs, runs on."""
    arrivals.take_clock(plan, state, step, item)
    stays = [stay.now for stay in state.stays.values() if stay.now is not None]
    for one in (*state.modes.values(), *stays):
        one.since_wall_ms += item.by_ms
        one.until_wall_ms = None if one.until_wall_ms is None else one.until_wall_ms + item.by_ms
    for log in state.breathed.values():
        breathed.step(log, item.by_ms)
    for account in state.harvests.values():
        account.at_wall_ms += item.by_ms
        for zone in account.zones.values():
            zone.known_wall_ms += item.by_ms if zone.known_wall_ms else 0
