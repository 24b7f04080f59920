"""Somebody speaks faster than the limit: told once when it begins and once when it is over.

What was over the limit never came here (see `payloads.rate`); the core is told of it, so that it is an alarm
like any other. Not here: the limits, who speaks.
"""

from gillhouse.core.alarm import Condition
from gillhouse.core.arrivals import Step
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import TooMany
from gillhouse.core.outputs import Event, EventKind

KIND = "too-many"

Fact = float | int | str | bool | None


def take_too_many(plan: Plan, state: State, step: Step, item: TooMany) -> None:
    settings = plan.settings
    sensor = settings.sensors.get(item.subject)
    space = sensor.space if sensor is not None else plan.relay_space.get(item.subject)
    found = f"{item.dropped} left out; it is over"
    if item.on:
        found = f"more from {item.source} than the limit"
    facts: dict[str, Fact] = {"why": KIND, "found": found, "dropped": item.dropped}
    about: dict[str, Fact] = {"from": item.source}
    if item.who:
        facts["who"] = about["who"] = item.who
    step.events.append(Event(EventKind.REJECTED, item.subject, space, None, facts, (step.seq,)))
    told = Condition(KIND, item.subject, space, item.on, about)
    step.conditions.append(told)
    step.gone.append(told)  # kept where all conditions are told anew in this very step
