"""What is told of an alarm: one notice per transition, with facts and no prose.

What lives here: making notices and list lines, and taking a hold away (which tells itself). What must not:
deciding what happens (see `alarm_moves`, `alarm_acts`).
"""

from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.alarm_states import AlarmRecord, Effect, Holding, Step, apply
from gillhouse.core.inputs import OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Facts, Transition

FactsOut = dict[str, float | int | str | bool | None]

BY_PERSON = (Holding.SHELVED_TIMED, Holding.SHELVED_ONCE, Holding.OUT_OF_SERVICE)


def say(
    now: Instant, record: AlarmRecord, transition: Transition, effect: Effect, extra: Facts
) -> AlarmNotice:
    """The notice of a step that was tried; a refused one says what was asked."""
    if effect.announce:
        record.said_mono_ms = now.mono_ms
    if effect.refused:
        extra, transition = {**extra, "asked": transition.value}, Transition.REFUSED
    return notice(record, transition, effect.announce, extra)


def notice(record: AlarmRecord, transition: Transition, announce: bool, extra: Facts) -> AlarmNotice:
    """A notice with the condition's own facts, when it began, who was first, what holds it, and `extra`."""
    facts: FactsOut = {**record.facts, "since_ms": record.since_wall_ms, "from_ms": record.from_wall_ms}
    facts.update(extra)
    if record.first_out:
        facts["first_out"] = record.first_out
    if record.holds:
        facts["held"] = ", ".join(holding.value for holding in record.holds)
    return AlarmNotice(
        record.alarm,
        record.kind,
        record.occurrence,
        transition,
        record.priority,
        record.state,
        announce,
        record.space,
        facts,
    )


def unknown(action: OperatorAction) -> AlarmNotice:
    """The refusal for an alarm that does not exist."""
    kind = action.subject.partition(":")[0]
    facts: FactsOut = {"asked": action.act.value, "unknown": True}
    return AlarmNotice(action.subject, kind, 0, Transition.REFUSED, 3, "A", False, None, facts, action.who)


def line(record: AlarmRecord) -> FactsOut:
    """One alarm as the list shows it."""
    return {
        "alarm": record.alarm,
        "kind": record.kind,
        "space": record.space,
        "subject": record.subject,
        "state": record.state,
        "priority": record.priority,
        "occurrence": record.occurrence,
        "since_ms": record.since_wall_ms,
        "held": ", ".join(holding.value for holding in record.holds),
        "held_by": ", ".join(hold.who or hold.why for hold in record.holds.values()),
        "first_out": record.first_out,
        **{f"fact_{name}": value for name, value in record.facts.items()},
    }


def free(now: Instant, record: AlarmRecord, holding: Holding) -> AlarmNotice:
    """Takes a hold away; when it was the last, what is left of the alarm is announced again."""
    del record.holds[holding]
    effect = Effect(False, False) if record.holds else apply(record, Step.FREED, KINDS[record.kind].latching)
    transition = Transition.UNSHELVE if holding in BY_PERSON else Transition.UNSUPP
    return say(now, record, transition, effect, {"hold": holding.value})
