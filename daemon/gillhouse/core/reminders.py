"""What a person should test, check or clean, and has not: reminders, which call nobody.

Here: `due`, for the weekly list, `now` and `check`. Not here: alarms; sending. How: what the grower stated of
their hardware grows old; findings about sensors and nozzles that wait for a person are listed with it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Protocol

from gillhouse.core.found import Finding
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, RelaySettings, Role
from gillhouse.core.statements import STATEMENTS

LIMITER_AGAIN_DAYS = 180
"""A run-time limiter is tested again after this. Our choice."""
FLOOD_OR_BURN = (Role.MIST, Role.PUMP, Role.HEATER)
"""Loads that do harm when they stay on: each wants hardware that cuts it."""
DAY_MS = 86_400_000

WAITS_FOR_A_PERSON = (
    Reason.CALIBRATION_DUE,
    Reason.CALIBRATION_OVER,
    Reason.DESCALE_DUE,
    Reason.DRIFTED,
    Reason.NEVER_AIRED,
    Reason.SENSOR_SLOW,
    Reason.SENSOR_WET,
)
"""Findings that are work for daylight."""


@dataclass(frozen=True, slots=True)
class ReminderLine:
    """One thing to do; worded by `reasons.WORDS`."""

    reason: Reason
    subject: str
    """Id of the statement, relay or sensor."""
    space: str | None
    facts: Facts = field(default_factory=dict)


class Standing(Protocol):
    """What was found and waits (`found.Found`)."""

    @property
    def standing(self) -> dict[str, Finding]: ...


def due(settings: FarmSettings, found: Standing | None, now: Instant) -> tuple[ReminderLine, ...]:
    """All that waits for a person, hardware first.

    Args:
        found: what was found of the sensors; None where only the config is known.
        now: only its local date counts.
    """
    today = datetime.fromtimestamp(now.wall_ms / 1000, settings.zone).date()
    return (
        *_limiters(settings, today),
        *_statements(settings, today),
        *(_found(found) if found is not None else ()),
    )


def _limiters(settings: FarmSettings, today: date) -> Iterator[ReminderLine]:
    for relay in settings.relays.values():
        if relay.limiter is None:
            if relay.role in FLOOD_OR_BURN and not relay.advise_only and not _behind_one(settings, relay):
                yield ReminderLine(Reason.NO_LIMITER, relay.id, relay.space, {"relay": relay.id})
            continue
        days = (today - date.fromisoformat(relay.limiter.tested)).days
        if days > LIMITER_AGAIN_DAYS or days < 0:
            facts: Facts = {
                "what": f"run-time limiter of {relay.id}",
                "tested": relay.limiter.tested,
                "days": days,
            }
            reason = Reason.TEST_OVERDUE if days > 0 else Reason.TEST_AHEAD
            yield ReminderLine(reason, relay.id, relay.space, facts)


def _behind_one(settings: FarmSettings, relay: RelaySettings) -> bool:
    """What feeds it has a limiter: a valve cannot flood once its pump is cut."""
    pumps = [supply.pump for supply in settings.supplies.values() if relay.id in supply.valves]
    return any(
        settings.relays[upstream].limiter is not None
        for upstream in (*pumps, relay.master or "")
        if upstream in settings.relays
    )


def _statements(settings: FarmSettings, today: date) -> Iterator[ReminderLine]:
    for one in settings.statements.values():
        days = (today - date.fromisoformat(one.tested)).days
        if days * DAY_MS > one.again_ms or days < 0:
            facts: Facts = {"what": STATEMENTS[one.id].title, "tested": one.tested, "days": days}
            reason = Reason.TEST_OVERDUE if days > 0 else Reason.TEST_AHEAD
            yield ReminderLine(reason, one.id, None, facts)


def _found(found: Standing) -> Iterator[ReminderLine]:
    for one in found.standing.values():
        if one.reason in WAITS_FOR_A_PERSON:
            yield ReminderLine(one.reason, one.sensor, one.space, one.facts)
