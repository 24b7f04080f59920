"""Why a quantity was outside its band: looked for in the log, never guessed.

Here: one table of what may explain it, most telling first, and the grower's words for each. Not here: the
figures. Each row looks at the same evidence and answers with the facts for its words, or not at all. What
the log does not show is said to be unknown.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from gillhouse.audit import runs, told
from gillhouse.audit.evidence import Evidence
from gillhouse.audit.hold import Side, Stretch
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, Role, SpaceSettings

LOOK_BACK_MS = 10 * 60_000
"""A cause may lie this long before its effect. Common practice, no source."""

REMEDY: dict[tuple[Quantity, Side], Role] = {
    (Quantity.HUMIDITY, Side.BELOW): Role.MIST,
    (Quantity.HUMIDITY, Side.ABOVE): Role.FAN,
    (Quantity.CO2, Side.ABOVE): Role.FAN,
    (Quantity.TEMPERATURE, Side.BELOW): Role.HEATER,
    (Quantity.TEMPERATURE, Side.ABOVE): Role.COOLER,
}
"""What would bring it back."""

PUSHES: dict[tuple[Quantity, Side], Role] = {
    (Quantity.HUMIDITY, Side.BELOW): Role.FAN,
    (Quantity.HUMIDITY, Side.ABOVE): Role.MIST,
    (Quantity.CO2, Side.BELOW): Role.FAN,
    (Quantity.TEMPERATURE, Side.BELOW): Role.COOLER,
    (Quantity.TEMPERATURE, Side.ABOVE): Role.HEATER,
}
"""What takes it there, when a person runs it."""

TOOL: dict[Role, str] = {
    Role.MIST: "mist",
    Role.FAN: "the fan",
    Role.HEATER: "the heater",
    Role.COOLER: "the cooler",
}

WORDS: dict[str, str] = {
    "door-open": "the door was open",
    "tank-empty": "the water tank was empty",
    "by-hand": "{who} ran {what} by hand",
    "water-cap": "the day's water was used up",
    "people-inside": "somebody was inside",
    "mains-off": "the mains were off",
    "daemon-away": "this box was off from {since} to {until}",
    "broker-lost": "the link to the boards was lost",
    "sensor-silent": "sensor {sensor} was silent, so {tool} ran by the clock",
    "relay-silent": "relay {relay} did not answer",
    "outside-worse": "outside air would have made it worse",
    "at-the-limit": "{tool} had run as long as it may",
    "other-space": "another space needed the shared equipment more",
    "advise-only": "{tool} is on advise only: asked for {starts}, never switched",
    "no-effect": "{tool} ran {starts}, {lasted} in all, and that was not enough",
    "not-asked": "{tool} did not run",
    "no-tool": "nothing here can change it",
    "unknown": "the log does not show why",
}


@dataclass(frozen=True, slots=True)
class Case:
    """One time outside, as the rows of the table see it."""

    evidence: Evidence
    space: SpaceSettings
    quantity: Quantity
    stretch: Stretch
    role: Role | None

    @property
    def from_ms(self) -> int:
        return self.stretch.from_ms - LOOK_BACK_MS

    @property
    def to_ms(self) -> int:
        return self.stretch.to_ms

    def relays(self) -> list[RelaySettings]:
        """What could have helped here."""
        return [
            relay
            for relay in self.evidence.latest.farm.relays.values()
            if relay.space == self.space.id and relay.role is self.role
        ]


Found = Mapping[str, object] | None
"""Facts for the words, or None: this was not it."""


def explain(
    evidence: Evidence, space: SpaceSettings, quantity: Quantity, stretch: Stretch
) -> tuple[str, str]:
    """The most telling cause in the log, and its words."""
    case = Case(evidence, space, quantity, stretch, REMEDY.get((quantity, stretch.side)))
    for cause, look in _TABLE.items():
        facts = look(case)
        if facts is not None:
            return cause, WORDS[cause].format(tool=TOOL.get(case.role, "") if case.role else "", **facts)
    return "unknown", WORDS["unknown"]


def _stood(case: Case, kind: str) -> list[str]:
    """Subjects of the alarms of a kind that stood during the case, in order of their begin."""
    began: dict[str, int] = {}
    found: list[str] = []
    for rung in case.evidence.alarms:
        notice = rung.notice
        if notice.kind != kind or rung.ts >= case.to_ms:
            continue
        subject = notice.alarm.partition(":")[2]
        if notice.transition is Transition.ACT:
            began[subject] = rung.ts
            found.append(subject)
        elif notice.transition is Transition.RTN and rung.ts < case.from_ms and subject in began:
            found.remove(subject)
            del began[subject]
    return list(dict.fromkeys(found))


def _refused(*reasons: Reason) -> Callable[[Case], Found]:
    return lambda case: {} if _refusals(case, reasons) else None


def _refusals(case: Case, reasons: Sequence[Reason]) -> int:
    """How often what could have helped was held back for one of the reasons."""
    mine = {relay.id for relay in case.relays()}
    return sum(
        case.from_ms <= happened.ts < case.to_ms
        and happened.event.kind in {EventKind.REFUSED, EventKind.DECISION}
        and happened.event.reason in reasons
        and (happened.event.subject in mine or (happened.event.space == case.space.id and not mine))
        for happened in case.evidence.events
    )


def _crowded_out(case: Case) -> Found:
    """Put off for another space more often than it ran: a wait of seconds in a queue explains nothing."""
    times, _ = _ran(case, advise=False)
    put_off = _refusals(case, (Reason.OTHER_SPACE_FIRST, Reason.NEVER_WITH))
    return {} if put_off > times else None


def _door(case: Case) -> Found:
    seen = _switch_seen(case, Quantity.DOOR, 1.0)
    return _refused(Reason.DOOR_OPEN)(case) if seen is None else seen


def _tank(case: Case) -> Found:
    wanted = {relay.tank for relay in case.relays() if relay.tank}
    for sensor in sorted(wanted):
        if _held_switch(case, sensor, 0.0):
            return {}
    return _refused(Reason.TANK_EMPTY)(case)


def _switch_seen(case: Case, quantity: Quantity, value: float) -> Found:
    for sensor in case.evidence.latest.farm.sensors.values():
        mine = sensor.space == case.space.id and sensor.quantity is quantity
        if mine and _held_switch(case, sensor.id, value):
            return {}
    return None


def _held_switch(case: Case, sensor: str, value: float) -> bool:
    """An on/off sensor stood at `value` at some time in the case, or when it began."""
    before = None
    for seen in case.evidence.readings.get(sensor, ()):
        if seen.ts >= case.to_ms:
            break
        if seen.ts < case.from_ms:
            before = seen.value
        elif seen.value == value:
            return True
    return before == value


def _by_hand(case: Case) -> Found:
    """A person ran, over our head, what takes it that way."""
    role = PUSHES.get((case.quantity, case.stretch.side))
    for relay in case.evidence.latest.farm.relays.values():
        if relay.space != case.space.id or relay.role is not role:
            continue
        for issued in case.evidence.commands.get(relay.id, ()):
            command = issued.command
            by_hand = command.on and not command.advise and command.reason is Reason.OVERRIDE
            if by_hand and case.from_ms <= issued.ts < case.to_ms:
                return {"who": command.facts.get("who") or "somebody", "what": TOOL[relay.role]}
    return None


def _away(case: Case) -> Found:
    for away in case.evidence.away:
        if away.from_ms < case.to_ms and away.to_ms > case.from_ms and away.to_ms > away.from_ms:
            zone = case.evidence.window.zone
            return {"since": told.clock(away.from_ms, zone), "until": told.clock(away.to_ms, zone)}
    return None


def _mains(case: Case) -> Found:
    return {} if _stood(case, "mains-off") else None


def _broker(case: Case) -> Found:
    return {} if _stood(case, "broker-lost") else None


def _silent(case: Case) -> Found:
    """A sensor of this very quantity was silent: nobody steered by it."""
    mine = {
        sensor.id
        for sensor in case.evidence.latest.farm.sensors.values()
        if sensor.space == case.space.id and sensor.quantity is case.quantity
    }
    if case.role is None:
        return None
    return next(({"sensor": sensor} for sensor in _stood(case, "sensor-silent") if sensor in mine), None)


def _relay_silent(case: Case) -> Found:
    mine = {relay.id for relay in case.relays()}
    return next(({"relay": relay} for relay in _stood(case, "relay-silent") if relay in mine), None)


def _ran(case: Case, advise: bool) -> tuple[int, int]:
    """(times, milliseconds) that what could have helped was on while it was outside."""
    times = lasted = 0
    for relay in case.relays():
        issued = [one for one in case.evidence.commands.get(relay.id, ()) if one.command.advise is advise]
        all_runs = runs.runs(issued, case.evidence.stops, case.evidence.window.to_ms)
        touching = runs.within(all_runs, case.from_ms, case.to_ms)
        times += len(touching)
        lasted += runs.on_ms(touching)
    return times, lasted


def _no_tool(case: Case) -> Found:
    return None if case.relays() else {}


def _no_effect(case: Case) -> Found:
    times, lasted = _ran(case, advise=False)
    return {"starts": told.times(times), "lasted": told.lasted(lasted)} if times else None


def _advise_only(case: Case) -> Found:
    times, _ = _ran(case, advise=True)
    return {"starts": told.times(times)} if times else None


def _not_asked(case: Case) -> Found:
    return {} if case.role is not None else None


_TABLE: Mapping[str, Callable[[Case], Found]] = {
    "door-open": _door,
    "tank-empty": _tank,
    "by-hand": _by_hand,
    "water-cap": _refused(Reason.WATER_CAP),
    "people-inside": _refused(Reason.PEOPLE_INSIDE),
    "mains-off": _mains,
    "daemon-away": _away,
    "advise-only": _advise_only,
    "broker-lost": _broker,
    "sensor-silent": _silent,
    "relay-silent": _relay_silent,
    "outside-worse": _refused(Reason.OUTSIDE_WORSE),
    "at-the-limit": _refused(Reason.LONGEST_RUN, Reason.STARTS_CAP),
    "other-space": _crowded_out,
    "no-tool": _no_tool,
    "no-effect": _no_effect,
    "not-asked": _not_asked,
}
"""Most telling first."""
