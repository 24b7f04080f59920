"""What each kind of input does to the farm's state, one function a kind.

Nothing here decides about relays: an arrival notes what it brought in a `Step`, which `farm` settles at the
end (spaces decide, equipment grants, alarms are told). All functions have the same shape, so that `farm`
finds them in a table.
"""

from dataclasses import dataclass, field, replace

from gillhouse.core import echo, hosing, interlock, plumbing, watch
from gillhouse.core.alarm import Condition
from gillhouse.core.alarm_acts import ACTS
from gillhouse.core.batch_acts import restart, shift
from gillhouse.core.contacts import as_contact
from gillhouse.core.effect import Accounts
from gillhouse.core.house import LinkState, Plan, State, restarted
from gillhouse.core.inputs import (
    DEADLINE,
    Act,
    ClockStep,
    Delivery,
    Due,
    Link,
    LinkChange,
    OperatorAction,
    Reading,
    RelayReport,
    SettingsChange,
    Started,
)
from gillhouse.core.instant import Instant
from gillhouse.core.kind_limits import in_block
from gillhouse.core.modes import Mode, modes_of
from gillhouse.core.outputs import AlarmNotice, Command, Event, EventKind, Facts
from gillhouse.core.quality import SensorState, awaited, judge, remember, silence
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.core.schedule import wanted
from gillhouse.core.settings import ProgrammeSettings, Role, SensorSettings, When
from gillhouse.core.space import (
    PROGRAMME_WAIT_MS,
    Pending,
    fallback_run_ms,
    refresh,
    refresh_intake,
    steered,
    steering,
)
from gillhouse.core.space_plan import AIR_QUANTITIES, SpacePlan
from gillhouse.core.truth import AWAY, corrected, is_away

DOUBT_EVERY_MS = 600_000
"""A sensor that keeps sending nonsense is told once in this time."""

WATER_ACTS = (Act.MORE_WATER, Act.HOSED, Act.DRY, Act.CLEANED, Act.FLUSHED, Act.DRAINED)
"""What people do about water: told, not asked for."""

UNKNOWN_SENSOR = Verdict(Quality.SUSPECT, Mark.NONE)

Watched = dict[str, dict[Quantity, tuple[watch.Limit, ...]]]


@dataclass(slots=True)
class Step:
    """What one input brought, until it is settled."""

    seq: int
    now: Instant
    watched: Watched
    spaces: dict[str, Quantity | None] = field(default_factory=dict)
    """To be decided anew, in this order: for the news of one quantity, or (None) altogether."""
    grant: bool = False
    """Something an interlock looks at changed."""
    replan: bool = False
    """The crops changed, and with them perhaps what the spaces should hold."""
    tell_all: bool = False
    """The alarm book is told every condition."""
    sensor_back: bool = False
    """A silent sensor reports again: its silence must be waited for anew."""
    conditions: list[Condition] = field(default_factory=list)
    gone: list[Condition] = field(default_factory=list)
    """Of limits there are no longer, and what only a start can tell."""
    commands: list[Command] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    notices: list[AlarmNotice] = field(default_factory=list)
    verdict: Verdict | None = None
    contact: str | None = None
    """An on/off input reported."""


# --- readings ------------------------------------------------------------------------------------------


def take_reading(plan: Plan, state: State, step: Step, item: Reading) -> None:
    sensor = plan.settings.sensors.get(item.sensor)
    if sensor is None:
        step.verdict = UNKNOWN_SENSOR
        return
    known = state.sensors[item.sensor]
    item = corrected(state.truth, sensor, known, item, step.now.wall_ms)
    item, settled = as_contact(sensor, known, item, step.now.mono_ms)
    verdict = settled or judge(sensor, known, step.now, item)
    if item.delivery is not Delivery.LIVE:
        step.verdict = verdict
        return
    if state.truth.away and is_away(state.truth, sensor.id, step.now.wall_ms):
        verdict = AWAY
    step.verdict = verdict
    was_silent, was_mark, was_value = known.silent, known.mark, known.good_value
    remember(known, step.seq, step.now, item, verdict)
    if was_silent:
        step.sensor_back = True
        _tell_sensor(step, sensor, Reason.SENSOR_BACK, {"value": item.value})
        for mate in watch.board_mates(plan, sensor.id):
            # Its silence may have been excused by this one's.
            step.conditions += watch.sensor_conditions(plan, state, mate)
    if verdict.mark is not was_mark:
        if Mark.FLAT in (verdict.mark, was_mark):
            step.conditions += watch.sensor_conditions(plan, state, sensor.id)
        if verdict.mark in (Mark.FLAT, Mark.OUT_OF_RANGE):
            _doubt(step, sensor, known, item)
    state.guards.heard = state.guards.heard or verdict.quality is Quality.GOOD
    if sensor.quantity in AIR_QUANTITIES:
        renew(plan, state, step, sensor)
        return
    step.contact = sensor.id
    if known.good_value != was_value or was_silent:
        step.grant = True
        condition = watch.switch_condition(plan, state, sensor.id)
        if condition is not None:
            step.conditions.append(condition)


def renew(plan: Plan, state: State, step: Step, sensor: SensorSettings) -> None:
    """Renews whatever is made of an air sensor: an estimate with its limits, or the intake air."""
    chilled = plan.chills.get(sensor.id, ())
    if chilled and plumbing.chill(plan, state, chilled, step.now):
        step.conditions += plumbing.conditions(plan, state, step.now)
        step.grant = True
    space = plan.sensor_space.get(sensor.id)
    if space is None:
        for drawing in plan.outside.get(sensor.id, ()):
            refresh_intake(plan.spaces[drawing], state.spaces[drawing], state.sensors)
        if in_block(sensor) and sensor.space in step.watched:
            _compare(plan, state, step, step.watched[sensor.space][sensor.quantity])
        return
    own = plan.spaces[space]
    refresh(own, state.spaces[space], state.sensors, sensor.quantity, step.now.mono_ms)
    step.spaces[space] = None if space in step.spaces else sensor.quantity
    _compare(plan, state, step, step.watched[space][sensor.quantity])


def _compare(plan: Plan, state: State, step: Step, limits: tuple[watch.Limit, ...]) -> None:
    if limits:
        changed = watch.compare(plan, state, limits)
        step.conditions += [watch.limit_condition(plan, state, limit) for limit in changed]


def _tell_sensor(step: Step, sensor: SensorSettings, reason: Reason, facts: Facts) -> None:
    told = {"quantity": sensor.quantity.value, **facts}
    step.events.append(Event(EventKind.SENSOR, sensor.id, sensor.space, reason, told, (step.seq,)))


def _doubt(step: Step, sensor: SensorSettings, known: SensorState, item: Reading) -> None:
    if known.doubted_ms is not None and step.now.mono_ms - known.doubted_ms < DOUBT_EVERY_MS:
        return
    known.doubted_ms = step.now.mono_ms
    _tell_sensor(step, sensor, Reason.SENSOR_DOUBTED, {"mark": known.mark.value, "value": item.value})


def check_silence(plan: Plan, state: State, step: Step) -> None:
    """Marks the sensors that have fallen silent, and takes them out of every estimate."""
    for sensor in plan.settings.sensors.values():
        known = state.sensors[sensor.id]
        if not silence(sensor, known, step.now.mono_ms):
            continue
        silent_s = round((step.now.mono_ms - known.heard_ms) / 1000, 1)
        _tell_sensor(step, sensor, Reason.SENSOR_SILENT, {"silent_s": silent_s})
        step.conditions += watch.sensor_conditions(plan, state, sensor.id)
        if sensor.quantity in AIR_QUANTITIES:
            renew(plan, state, step, sensor)
        else:
            step.grant = True


# --- due times -----------------------------------------------------------------------------------------


def take_due(plan: Plan, state: State, step: Step, item: Due) -> None:
    if item.what == DEADLINE:
        step.spaces.update(dict.fromkeys(plan.spaces))
        return
    programme = plan.settings.programmes.get(item.what)
    if programme is None:
        facts = {"subject": item.what}
        step.events.append(Event(EventKind.DUE, item.what, None, Reason.UNKNOWN_SUBJECT, facts, (step.seq,)))
        return
    space = plan.spaces[programme.space]
    known = state.spaces[programme.space]
    relays = [relay for relay, role in space.relays.items() if role is programme.role]
    run_ms = wanted(programme, item.due_ms, plan.settings.zone)
    state.guards.heard = True
    left_out = _why_left_out(programme, space, state, bool(relays), run_ms)
    if left_out is not None:
        step.events.append(due_event(programme, left_out, (step.seq,), None, 0))
        return
    fallback = programme.when is When.FALLBACK
    for relay in relays:
        known.pending[relay] = Pending(
            programme=programme.id,
            run_ms=fallback_run_ms(space, known, programme, run_ms) if fallback else run_ms,
            until_ms=step.now.mono_ms + PROGRAMME_WAIT_MS,
            seq=step.seq,
            fallback=fallback,
            planned_ms=run_ms,
        )
    step.spaces[programme.space] = None


def _why_left_out(
    programme: ProgrammeSettings, space: SpacePlan, state: State, has_relay: bool, run_ms: int
) -> Reason | None:
    if not has_relay:
        return Reason.NO_RELAY
    if Mode.EMPTY in modes_of(state, programme.space) and programme.role is not Role.UV:
        return Reason.OUT_OF_USE
    if run_ms <= 0:
        return Reason.NOTHING_PLANNED
    if programme.when is When.ALWAYS:
        return None
    if steered(state.spaces[programme.space], programme.role):
        return Reason.SENSORS_STEER
    if any(awaited(state.sensors[sensor.id]) for sensor in steering(space, programme.role)):
        return Reason.STARTING  # just begun: a sensor that has had no time to report is not silent
    return None


def due_event(
    programme: ProgrammeSettings, reason: Reason, causes: tuple[int, ...], relay: str | None, run_ms: int
) -> Event:
    """What became of a due time: run (`run_s` over 0), or left out with the reason."""
    facts: Facts = {
        "programme": programme.id,
        "role": programme.role.value,
        "relay": relay,
        "ran": run_ms > 0,
        "run_s": run_ms / 1000,
    }
    return Event(EventKind.DUE, programme.id, programme.space, reason, facts, causes)


# --- people, boards, links -----------------------------------------------------------------------------


def take_action(plan: Plan, state: State, step: Step, item: OperatorAction) -> None:
    if item.act in ACTS:
        step.notices += state.book.act(step.now, item)
        return
    if item.act is Act.NOTE:
        space = item.subject if item.subject in plan.spaces else None
        facts: Facts = {"text": item.text, "who": item.who}
        causes: tuple[int, ...] = (step.seq,)
        if item.corrects is not None:
            facts, causes = {**facts, "corrects": item.corrects}, (step.seq, item.corrects)
        step.events.append(Event(EventKind.NOTE, item.subject, space, None, facts, causes))
        if item.subject in state.caps and hosing.says_hosed(item.text):
            step.events += hosing.told(plan, state, step.now, replace(item, act=Act.HOSED), step.seq)
            step.conditions += hosing.conditions(plan, state, step.now)
        return
    if item.act in WATER_ACTS:
        told = hosing.told if item.act in (Act.HOSED, Act.DRY) else plumbing.done
        step.events += told(plan, state, step.now, item, step.seq)
        step.grant = step.grant or item.act is Act.MORE_WATER
        step.conditions += hosing.conditions(plan, state, step.now)
        step.conditions += plumbing.conditions(plan, state, step.now)
        return
    unknown: Facts = {"subject": item.subject, "who": item.who, "act": item.act.value}
    step.events.append(
        Event(EventKind.REFUSED, item.subject, None, Reason.UNKNOWN_SUBJECT, unknown, (step.seq,))
    )


def take_report(plan: Plan, state: State, step: Step, item: RelayReport) -> None:
    settings = plan.settings.relays.get(item.relay)
    if settings is None:
        return
    known = state.relays[item.relay]
    echo.report(step.now, settings, known, item)
    step.grant = True
    differs = item.on is not None and item.on is not known.on
    if differs or not item.available:
        reason = Reason.BOARD_DIFFERS if item.available else Reason.BOARD_SILENT
        facts: Facts = {"told_on": known.on, "says_on": item.on, "available": item.available}
        space = plan.relay_space.get(item.relay)
        step.events.append(Event(EventKind.RELAY, item.relay, space, reason, facts, (step.seq,)))


def take_link(plan: Plan, state: State, step: Step, item: LinkChange) -> None:
    known = state.links[item.link]
    if known.up is not item.up:
        facts: Facts = {"up": item.up, "detail": item.detail}
        step.events.append(Event(EventKind.LINK, item.link.value, None, None, facts, (step.seq,)))
        state.links[item.link] = LinkState(item.up, step.now.mono_ms, item.detail)
    state.links[item.link].heard = True
    if item.lost_from_ms is not None:
        span: Facts = {"from_ms": item.lost_from_ms, "to_ms": step.now.wall_ms, "detail": item.detail}
        step.events.append(Event(EventKind.GAP, item.link.value, None, None, span, (step.seq,)))
    if item.link is Link.BROKER and item.up:
        for relay, settings in plan.settings.relays.items():
            if settings.over_broker:
                echo.say_again(state.relays[relay])
        step.grant = True
    step.conditions.append(watch.link_condition(plan, state, item.link))


# --- the daemon itself ---------------------------------------------------------------------------------


def _unsure(sure: bool) -> Facts:
    """Told with a start or a step after which the wall clock is not set."""
    return {} if sure else {"time_unsure": True}


def take_clock(plan: Plan, state: State, step: Step, item: ClockStep) -> None:
    facts: Facts = {"by_s": item.by_ms / 1000, **_unsure(item.sure)}
    step.events.append(Event(EventKind.CLOCK, "clock", None, None, facts, (step.seq,)))
    step.spaces.update(dict.fromkeys(plan.spaces))
    step.grant = True
    shift(state.crops, item.by_ms)
    state.book.step(step.now, item.by_ms)
    step.replan = bool(state.crops.batches or state.crops.ramps)


def take_settings(plan: Plan, state: State, step: Step, item: SettingsChange) -> None:
    step.events.append(Event(EventKind.CONFIG, "config", None, None, {"digest": item.digest}, (step.seq,)))
    step.commands += state.parting
    state.parting = []
    step.notices += state.book.retire(watch.subjects(plan))
    step.spaces.update(dict.fromkeys(plan.spaces))
    step.grant = step.tell_all = True


def take_started(plan: Plan, state: State, step: Step, item: Started) -> None:
    """Begins anew: monotonic time starts over, so what it counts is dropped; what was learned stays."""
    away_s = None if item.away_ms is None else item.away_ms / 1000
    facts: Facts = {
        "version": item.version, "digest": item.digest, "clean": item.clean, "away_s": away_s,
        **_unsure(item.clock_sure),
    }  # fmt: skip
    step.events.append(Event(EventKind.STARTED, "daemon", None, Reason.STARTING, facts, (step.seq,)))
    if not item.clean:
        gap: Facts = {"away_s": away_s, "clean": False}
        step.events.append(Event(EventKind.GAP, "daemon", None, None, gap, (step.seq,)))
    if item.aside:
        begun: Facts = {"aside": item.aside}
        step.events.append(Event(EventKind.GAP, "journal", None, None, begun, (step.seq,)))
    step.gone.append(
        Condition("journal-damaged", Link.STORE.value, None, bool(item.aside), {"detail": item.aside})
    )
    step.gone += [
        Condition(one.kind, one.subject, one.space, False)  # whoever still does will be told of anew
        for one in state.book.records.values()
        if one.kind == "too-many"
    ]
    mono_ms = step.now.mono_ms
    restart(state.crops, step.now.wall_ms)
    step.replan = bool(state.crops.batches or state.crops.ramps)
    state.relays = interlock.restart(step.now, plan.settings, state.relays)
    state.asks.clear()
    state.sensors = {sensor: SensorState(heard_ms=mono_ms) for sensor in plan.settings.sensors}
    state.links = {link: LinkState(since_ms=mono_ms, heard=link is not Link.BROKER) for link in Link}
    state.watching.clear()
    state.effects = Accounts(looked_ms=mono_ms)
    state.book.restart(step.now, item.away_ms)
    for space, own in plan.spaces.items():
        fresh = state.spaces[space] = restarted(state.spaces[space], mono_ms)
        refresh_intake(own, fresh, state.sensors)
    step.spaces.update(dict.fromkeys(plan.spaces))
    step.grant = step.tell_all = True
