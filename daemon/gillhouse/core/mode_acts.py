"""What a person, a switch or a button begins and ends in a space: people inside, cleaning, picking and so on.

Here: every change of `State.modes` and `State.stays`, told in words or refused in words. Not here: what
follows for relays and alarms, and what ends by itself (`keeping`). Names of modes and what is remembered of
them are in `modes`.
"""

from collections.abc import Callable

from gillhouse.core.arrivals import Step
from gillhouse.core.caps import Caps
from gillhouse.core.echo import Proof, proof
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.modes import MODE_WORDS, By, Mode, ModeState, Recovery, Stays
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.picking import begin as begin_picking
from gillhouse.core.picking import stands
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role, SpaceKind
from gillhouse.core.switches import said
from gillhouse.core.ventilation import flow

MINUTE_MS = 60_000
HOUR_MS = 3_600_000

LASTS_MS: dict[Mode, tuple[int, int]] = {
    # Usually, and at most. Two hours inside: our choice, as the time after which one looks for somebody who
    # works alone. The others: our choice.
    Mode.PEOPLE_INSIDE: (2 * HOUR_MS, 2 * HOUR_MS),
    Mode.CLEANING: (HOUR_MS, 4 * HOUR_MS),
    Mode.HARVEST: (4 * HOUR_MS, 8 * HOUR_MS),
}
BLIND_HARVEST_MS = HOUR_MS
"""Picking where no switch tells of the door ends by itself after this, unless a time is given."""
AIRING_CHANGES = 3.0
"""Air changes before somebody goes in: one in twenty of what floats is left, exp(-3), in a well mixed room
(S. Batterman, Int. J. Environ. Res. Public Health 14:145, 2017)."""
AIRING_MOST = 20.0
AIRING_LONGEST_MS = 2 * HOUR_MS
AIRING_SPARE_MS = 5 * MINUTE_MS
"""Over twice its time an airing that is not proved is given up, and this on top for a slow board."""

_MODES = {Act.CLEANING: Mode.CLEANING, Act.HARVEST: Mode.HARVEST, Act.EMPTY: Mode.EMPTY}


def take(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Does what a person asks of a space, or refuses it and says why."""
    if item.subject not in plan.spaces:
        refuse(step, item, None, Reason.UNKNOWN_SUBJECT, {"subject": item.subject})
    elif not item.who.strip():
        refuse(step, item, item.subject, Reason.NAME_AND_REASON, {})
    elif item.for_ms is not None and item.for_ms <= 0:
        facts: Facts = {"what": "a time in seconds", "value": item.for_ms / 1000}
        refuse(step, item, item.subject, Reason.NOT_BELIEVABLE, facts)
    else:
        ACTS[item.act](plan, state, step, item)


def refuse(step: Step, item: OperatorAction, space: str | None, reason: Reason, facts: Facts) -> None:
    told: Facts = {"space": item.subject, "who": item.who, "act": item.act.value, **facts}
    step.events.append(Event(EventKind.REFUSED, item.subject, space, reason, told, (step.seq,)))


# --- begin ---------------------------------------------------------------------------------------------


def made(step: Step, mode: Mode, lasts_ms: int | None, who: str, why: str) -> ModeState:
    """A mode that begins now."""
    now = step.now
    return ModeState(
        mode,
        now.mono_ms,
        None if lasts_ms is None else now.mono_ms + lasts_ms,
        now.wall_ms,
        None if lasts_ms is None else now.wall_ms + lasts_ms,
        who,
        why,
        step.seq,
        looked_ms=now.mono_ms,
        door_ms=now.mono_ms,
    )


def tell_begun(step: Step, space: str, one: ModeState) -> None:
    lasts_ms = None if one.until_ms is None else one.until_ms - one.since_ms
    facts: Facts = {
        "space": space, "mode": one.mode.value, "what": MODE_WORDS[one.mode], "who": one.who, "why": one.why,
        "by": one.by.value, "for_s": None if lasts_ms is None else lasts_ms / 1000,
        "lasts": "" if lasts_ms is None else f", {lasts_ms / MINUTE_MS:.0f} min at most",
        "because": f": {one.why}" if one.why else "",
    }  # fmt: skip
    step.events.append(Event(EventKind.DECISION, space, space, Reason.MODE_BEGUN, facts, (step.seq,)))
    step.grant = True
    step.spaces[space] = None


def tell_over(step: Step, space: str, one: ModeState, how: str) -> None:
    lasted_min = (step.now.mono_ms - one.since_ms) / MINUTE_MS
    facts: Facts = {
        "space": space, "mode": one.mode.value, "what": MODE_WORDS[one.mode], "who": one.who, "how": how,
        "lasted_min": round(lasted_min, 1),
    }  # fmt: skip
    step.events.append(Event(EventKind.DECISION, space, space, Reason.MODE_OVER, facts, (step.seq,)))
    step.grant = True
    step.spaces[space] = None


def _inside(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    usual_ms, most_ms = LASTS_MS[Mode.PEOPLE_INSIDE]
    lasts_ms = min(item.for_ms or usual_ms, most_ms)
    stay = made(step, Mode.PEOPLE_INSIDE, lasts_ms, item.who, item.text)
    stay.alone = bool(item.on)
    come_in(state, step, item.subject, stay)


def come_in(state: State, step: Step, space: str, stay: ModeState) -> None:
    """Somebody goes in, or says again that they are; the time begins anew and the longer one counts."""
    stays = state.stays.setdefault(space, Stays())
    before = stays.now
    if before is not None and before.until_ms is not None and stay.until_ms is not None:
        stay.since_ms, stay.since_wall_ms = before.since_ms, before.since_wall_ms
        stay.alone = stay.alone or before.alone
        if before.until_ms > stay.until_ms:
            stay.until_ms, stay.until_wall_ms = before.until_ms, before.until_wall_ms
    stays.now, stays.overdue = stay, False
    if stay.by is By.COMMAND and stay.who not in stays.names:
        stays.names.append(stay.who)
    tell_begun(step, space, stay)


def _work(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Cleaning, picking, out of use."""
    space, mode = item.subject, _MODES[item.act]
    inside = state.crops.in_space(space) if mode is Mode.EMPTY else []
    if inside:
        refuse(step, item, space, Reason.HAS_BATCH, {"batch": inside[0].id})
        return
    lasts_ms: int | None = None
    if mode in LASTS_MS:
        usual_ms, most_ms = LASTS_MS[mode]
        if mode is Mode.HARVEST and space not in plan.switches[Quantity.DOOR]:
            usual_ms = BLIND_HARVEST_MS
        lasts_ms = min(item.for_ms or usual_ms, most_ms)
    begin(plan, state, step, space, made(step, mode, lasts_ms, item.who, item.text))


def begin(plan: Plan, state: State, step: Step, space: str, one: ModeState) -> None:
    """Puts a space into a mode; the one it was in ends."""
    end(plan, state, step, space, f"now {MODE_WORDS[one.mode]}")
    state.modes[space] = one
    tell_begun(step, space, one)
    if one.mode is not Mode.HARVEST:
        return
    own, known = plan.spaces[space], state.spaces[space]
    if own.settings.kind is not SpaceKind.OPEN:
        state.harvests[space] = begin_picking(known.mist.film, step.now.wall_ms)
    told = stands(own, known, state.harvests.get(space) or state.caps.get(space) or Caps(), step.now.wall_ms)
    facts: Facts = {"space": space, **told}
    step.events.append(Event(EventKind.DECISION, space, space, Reason.HARVEST_STANDS, facts, (step.seq,)))


# --- airing before somebody goes in --------------------------------------------------------------------


def _airing(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    own = plan.spaces[item.subject]
    changes = AIRING_CHANGES if item.amount is None else item.amount
    if not 0.0 < changes <= AIRING_MOST:
        facts: Facts = {"what": "a number of air changes", "value": changes}
        refuse(step, item, item.subject, Reason.NOT_BELIEVABLE, facts)
        return
    fans = [(relay, m3_per_h) for relay, m3_per_h in own.flows if _tells(plan, relay) and m3_per_h > 0.0]
    if not fans:
        refuse(step, item, item.subject, Reason.AIRING_UNPROVABLE, {})
        return
    wanted_ms = changes * own.settings.volume_m3 / sum(m3_per_h for _, m3_per_h in fans) * HOUR_MS
    if wanted_ms > AIRING_LONGEST_MS:
        told: Facts = {"changes": changes, "minutes": round(wanted_ms / MINUTE_MS)}
        refuse(step, item, item.subject, Reason.AIRING_TOO_LONG, told)
        return
    one = made(step, Mode.AIRING, round(2 * wanted_ms) + AIRING_SPARE_MS, item.who, item.text)
    one.changes = changes
    begin(plan, state, step, item.subject, one)


def _tells(plan: Plan, relay: str) -> bool:
    """Whether the boards behind a fan or damper say what they do."""
    relays = plan.settings.relays
    return all(
        relays[name].echo_within_ms is not None and not relays[name].advise_only
        for name in (relay, *_behind(plan, relay))
    )


def _behind(plan: Plan, relay: str) -> list[str]:
    """The fan behind a damper; nothing behind a fan."""
    if plan.settings.relays[relay].role is not Role.DAMPER:
        return []
    return [shared.fan for shared in plan.settings.shared_air.values() if relay in shared.dampers.values()]


def proved_m3_per_h(plan: Plan, state: State, step: Step, space: str) -> float:
    """Fresh air that fans bring of which every board says that they run, by their figures."""
    found = 0.0
    for relay, m3_per_h in plan.spaces[space].flows:
        names = (relay, *_behind(plan, relay))
        runs = all(
            state.relays[name].on
            and proof(step.now, plan.settings.relays[name], state.relays[name]) is Proof.FOLLOWED
            for name in names
        )
        found += m3_per_h if runs and _tells(plan, relay) else 0.0
    return found


def least_airing_ms(plan: Plan, space: str, changes: float) -> int:
    """How long the fans need for so many air changes."""
    m3_per_h = sum(own for _, own in plan.spaces[space].flows)
    return round(flow(changes, plan.spaces[space].settings.volume_m3) / m3_per_h * HOUR_MS)


# --- end -----------------------------------------------------------------------------------------------


def end(plan: Plan, state: State, step: Step, space: str, how: str) -> None:
    """Ends the mode a space is in, where it is in one."""
    one = state.modes.pop(space, None)
    if one is None:
        return
    tell_over(step, space, one, how)
    state.harvests.pop(space, None)
    known = state.spaces.get(space)
    if one.mode is Mode.HARVEST and known is not None and plan.spaces[space].mist is not None:
        known.mist.pace_until_ms.clear()  # the ordinary controller may begin at once
        state.recovering[space] = Recovery(step.now.mono_ms)


def go_out(state: State, step: Step, space: str, how: str, overdue: bool = False) -> None:
    """Ends the stay of people in a space, where there is one."""
    stays = state.stays.get(space)
    if stays is None or stays.now is None:
        return
    tell_over(step, space, stays.now, how)
    stays.now, stays.overdue, stays.names = None, overdue, []


def _over(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    """Ends the stay of people, or, where nobody is said to be inside, what the space is in."""
    space, stays = item.subject, state.stays.get(item.subject)
    if stays is not None and (stays.now is not None or stays.overdue):
        _out(plan, state, step, item, stays)
    elif space in state.modes:
        end(plan, state, step, space, f"{item.who} said so")
    else:
        refuse(step, item, space, Reason.NOTHING_ON, {})


def _out(plan: Plan, state: State, step: Step, item: OperatorAction, stays: Stays) -> None:
    """One who said that they went in is out; others who said so are still inside."""
    space, others = item.subject, [name for name in stays.names if name != item.who]
    if stays.now is not None and others and item.who in stays.names:
        stays.names = others
        facts: Facts = {"space": space, "who": item.who, "others": ", ".join(others)}
        step.events.append(Event(EventKind.DECISION, space, space, Reason.PERSON_OUT, facts, (step.seq,)))
        return
    go_out(state, step, space, f"{item.who} said so")
    stays.overdue = False
    stays.spent = bool(said(plan, state, Quantity.PEOPLE, space))  # still at inside: it was forgotten
    step.grant = True


ACTS: dict[Act, Callable[[Plan, State, Step, OperatorAction], None]] = {
    Act.INSIDE: _inside,
    Act.CLEANING: _work,
    Act.HARVEST: _work,
    Act.EMPTY: _work,
    Act.AIRING: _airing,
    Act.OVER: _over,
}


def by_switch(step: Step, by: By, who: str) -> ModeState:
    """A stay that a switch or a button tells of."""
    stay = made(step, Mode.PEOPLE_INSIDE, LASTS_MS[Mode.PEOPLE_INSIDE][0], who, "")
    stay.by = by
    return stay
