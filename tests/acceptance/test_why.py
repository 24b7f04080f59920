"""Every ON of the night leads back, through the store, to a reading or a due time that bears it out.

What each reason promises is written here by hand, from the words the grower reads (`core.reasons`) and from
the farm file; only the farm file's limits and the stored inputs are asked, not the code that decided.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from acceptance.nights import Lived
from acceptance.test_figures import checks, corrected
from gillhouse.audit.why import why
from gillhouse.config import Config
from gillhouse.core.inputs import Act, Due, Input, OperatorAction, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Command, EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role, When
from gillhouse.store.reader import Reader
from gillhouse.store.records import CommandAt

FOREVER = 1 << 48
MINUTE_MS = 60_000
Cause = tuple[int, Instant, Input]


class Case:
    """One ON with all that can be known of it."""

    def __init__(self, night: Lived, config: Config, reader: Reader, one: CommandAt) -> None:
        self.night, self.config, self.reader, self.one = night, config, reader, one
        self.command: Command = one.command
        self.facts = one.command.facts
        self.relay = config.farm.relays[one.command.relay]
        found = [reader.input(seq) for seq in one.command.causes]
        self.causes: list[Cause] = [cause for cause in found if cause is not None]

    def figure(self, fact: str) -> float:
        value = self.facts[fact]
        assert isinstance(value, int | float), f"{fact} is {value!r}"
        return float(value)

    def reading(self, quantity: Quantity) -> Reading:
        """The newest cause, which must be a reading of this quantity in the relay's own space."""
        _, now, item = self.causes[0]
        assert isinstance(item, Reading), f"{self.command} names {item}, no reading"
        sensor = self.config.farm.sensors[item.sensor]
        assert (sensor.space, sensor.quantity) == (self.relay.space, quantity)
        assert sensor.zone not in ("intake", "outdoor")
        assert 0 <= self.one.ts - now.wall_ms < sensor.silent_after_ms or self.facts.get("held")
        return replace(item, value=believed(self.night, item, self.command.causes[0]))

    def band(self, quantity: Quantity) -> tuple[float | None, float | None]:
        assert self.relay.space is not None
        return self.night.band(self.relay.space, quantity.value, self.one.ts)


def believed(night: Lived, item: Reading, seq: int) -> float:
    """What a stored reading was corrected to, worked out anew from the checks in the journal."""
    quantity = night.config.farm.sensors[item.sensor].quantity.value
    with night.rows() as db:
        value, _ = corrected(checks(db, item.sensor), seq, item.value, item.sensed_ms, quantity)
    return value


def mist_by_demand(case: Case) -> None:
    reading = case.reading(Quantity.HUMIDITY)
    low, high = case.band(Quantity.HUMIDITY)
    assert low is not None
    assert high is not None
    assert case.relay.role is Role.MIST
    assert case.figure("value") == round(reading.value, 2)
    assert (case.facts["band_low"], case.facts["band_high"], case.facts["limit"]) == (low, high, low)
    assert low < case.figure("aim") < high
    assert reading.value < high, "mist into air that is wet already"


def air_dry(case: Case) -> None:
    mist_by_demand(case)
    # "Too dry" is said until the air is 1.5 points back inside its band, lest noise tell two stories.
    assert case.figure("value") < case.figure("limit") + 1.5


def hold_humid(case: Case) -> None:
    mist_by_demand(case)
    assert case.figure("value") >= case.figure("limit")


def co2_high(case: Case) -> None:
    reading = case.reading(Quantity.CO2)
    _, high = case.band(Quantity.CO2)
    assert high is not None
    assert case.relay.role is Role.FAN
    assert case.figure("value") == round(reading.value, 1)
    assert (case.facts["limit"], case.facts["band_high"]) == (high, high)
    # Fresh air begins a little under the ceiling: by 5 % of it, the sensor's stated error, or 40 ppm.
    error = case.config.farm.sensors[reading.sensor].error
    assert case.figure("start") == high - max(0.05 * high, error, 40.0)
    assert case.figure("value") >= case.figure("start")
    assert case.figure("intake_ppm") < case.figure("value"), "worse air was let in"


def too_humid(case: Case) -> None:
    reading = case.reading(Quantity.HUMIDITY)
    low, high = case.band(Quantity.HUMIDITY)
    assert low is not None
    assert high is not None
    assert case.relay.role in (Role.FAN, Role.HEATER)
    assert case.figure("value") == round(reading.value, 2)
    assert case.facts["limit"] == high
    if case.relay.role is Role.HEATER:  # no drier air outside: warmed inside its band, until it is well dried
        coldest, warmest = case.band(Quantity.TEMPERATURE)
        assert coldest is not None
        assert warmest is not None
        assert coldest < case.figure("aim_c") < warmest
        assert case.figure("value") > 0.5 * (low + high)
        return
    assert case.facts["band_high"] == high
    assert low < case.figure("aim") < high
    # In the upper half between what is aimed at and the limit, or over it.
    assert case.figure("value") >= case.figure("aim") + 0.5 * (high - case.figure("aim"))


def too_cold(case: Case) -> None:
    """Heat is aimed a degree inside the band's lower edge (a quarter of a narrow band), and may run up to a
    degree over that where it has learnt to."""
    reading = case.reading(Quantity.TEMPERATURE)
    low, high = case.band(Quantity.TEMPERATURE)
    assert low is not None
    assert high is not None
    assert case.relay.role is Role.HEATER
    assert case.figure("value") == round(reading.value, 2)
    assert case.figure("edge") == low
    assert case.figure("limit") == round(low + min(1.0, (high - low) / 4), 2)
    assert case.figure("value") < case.figure("limit") + 1.0


def fresh_air_floor(case: Case) -> None:
    """With a CO2 reading, or because time went by without one."""
    item = case.causes[0][2]
    if isinstance(item, Due):
        assert (item.what, item.due_ms) == ("deadline", case.one.ts)
        assert nothing_steers(case, Quantity.CO2)
    else:
        case.reading(Quantity.CO2)
    assert case.relay.role is Role.FAN
    assert case.relay.space is not None
    assert case.figure("limit") == round(case.config.farm.spaces[case.relay.space].fresh_air_ach, 2)
    assert case.figure("owed_m3") > 0


def programme(case: Case) -> None:
    ((_, now, item),) = case.causes
    assert isinstance(item, Due)
    assert item.what == case.facts["programme"]
    plan = case.config.farm.programmes[item.what]
    assert (plan.space, plan.role) == (case.relay.space, case.relay.role)
    assert now.wall_ms == item.due_ms == case.one.ts or held_back_since(case, item.due_ms)
    at = datetime.fromtimestamp(item.due_ms / 1000, case.config.farm.zone)
    assert item.due_ms % MINUTE_MS == 0
    if plan.every_min is not None:
        # from local midnight; the trial's night has no clock change
        midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
        assert (at - midnight) % timedelta(minutes=plan.every_min) == timedelta(0)
    else:
        assert plan.cron is not None
        assert in_crontab(plan.cron, at)
    by_day = plan.day_from_min <= at.hour * 60 + at.minute < plan.day_to_min
    run_ms = plan.run_ms if by_day else plan.night_run_ms
    if plan.when is When.FALLBACK:
        # as written, or what sensors asked for in the last good days, within a factor of two
        assert case.facts.get("planned_s", case.command.lease_ms / 1000) == run_ms / 1000 > 0
        assert run_ms / 2 <= case.command.lease_ms <= run_ms * 2
    else:
        assert case.command.lease_ms == run_ms > 0


def held_back_since(case: Case, due_ms: int) -> bool:
    """A due time that came while the relay might not start: the journal says so, with the same programme."""
    return any(
        one.event.subject == case.relay.id
        and one.event.facts.get("programme") == case.facts["programme"]
        and set(case.command.causes) <= set(one.event.causes)
        for one in case.reader.events(due_ms, case.one.ts, EventKind.REFUSED)
    )


def in_crontab(line: str, at: datetime) -> bool:
    """The five fields of crontab(5), as far as the farm file uses them: `*`, `*/n`, `a`, `a-b`."""
    shown = (at.minute, at.hour, at.day, at.month, at.isoweekday() % 7)
    return all(_matches(field, value) for field, value in zip(line.split(), shown, strict=True))


def _matches(field: str, value: int) -> bool:
    span, _, step = field.partition("/")
    first, _, last = span.partition("-")
    begin, end = (0, 60) if span == "*" else (int(first), int(last or first))
    return begin <= value <= end and (value - begin) % int(step or 1) == 0


STEERED_BY = {Role.MIST: Quantity.HUMIDITY, Role.FAN: Quantity.CO2}


def fallback_programme(case: Case) -> None:
    """Also: no sensor of what steers this relay could be trusted."""
    programme(case)
    assert nothing_steers(case, STEERED_BY[case.relay.role])


def nothing_steers(case: Case, quantity: Quantity) -> bool:
    """No sensor of the space has said anything good of it within its silence limit."""
    sensors = [
        sensor
        for sensor in case.config.farm.sensors.values()
        if (sensor.space, sensor.quantity) == (case.relay.space, quantity)
    ]
    assert sensors
    rows = [
        row
        for sensor in sensors
        for row in case.reader.readings(sensor.id, case.one.ts - sensor.silent_after_ms, case.one.ts)
    ]
    return all(row.quality != 0 for row in rows)


def override(case: Case) -> None:
    """A person asked for this very relay, and the time asked for is not over."""
    ((_, now, item),) = case.causes
    assert isinstance(item, OperatorAction)
    assert (item.act, item.subject, item.on) == (Act.OVERRIDE, case.relay.id, True)
    assert item.who == case.facts["who"]
    assert item.for_ms is not None
    assert now.wall_ms <= case.one.ts < now.wall_ms + item.for_ms


def valve_open(case: Case) -> None:
    """A pump: because a valve it feeds is told to open in the same breath, for the valve's own causes."""
    valve = case.facts["valve"]
    assert any(
        supply.pump == case.relay.id and valve in supply.valves
        for supply in case.config.farm.supplies.values()
    )
    assert isinstance(valve, str)
    opened = [
        one.command
        for one in case.reader.commands(case.one.ts, case.one.ts + 1, valve)
        if one.seq == case.one.seq and one.command.on
    ]
    assert [one.causes for one in opened] == [case.command.causes]
    assert opened[0].reason.value == case.facts["wanted"]
    space = case.config.farm.relays[valve].space
    assert space is not None
    assert case.facts["other"] == case.config.farm.spaces[space].name
    for fact in ("value", "limit", "aim"):
        assert case.facts.get(fact) == opened[0].facts.get(fact)


PROMISES: dict[str, Callable[[Case], None]] = {
    "air-dry": air_dry,
    "hold-humid": hold_humid,
    "co2-high": co2_high,
    "too-humid": too_humid,
    "too-cold": too_cold,
    "fresh-air-floor": fresh_air_floor,
    "programme": programme,
    "fallback-programme": fallback_programme,
    "override": override,
    "valve-open": valve_open,
}


@pytest.fixture(scope="module")
def cases(night: Lived) -> list[Case]:
    config = night.config
    reader = night.reader()
    ons = [one for one in reader.commands(0, FOREVER) if one.command.on and not one.command.renewal]
    assert len(ons) > 100
    return [Case(night, config, reader, one) for one in ons]


def test_every_on_names_causes_that_are_in_the_store(cases: list[Case], night: Lived) -> None:
    with night.rows() as db:
        seqs = {seq for (seq,) in db.execute("SELECT seq FROM readings UNION ALL SELECT seq FROM inputs")}
    for case in cases:
        causes = case.command.causes
        assert causes, f"{case.one} names no cause"
        assert len(case.causes) == len(causes)
        assert [seq for seq, _, _ in case.causes] == list(causes)
        assert set(causes) <= seqs
        assert max(causes) <= case.one.seq, "a cause lies after its effect"
        assert all(now.wall_ms <= case.one.ts for _, now, _ in case.causes)
        assert len(set(causes)) == len(causes)


@pytest.mark.parametrize("reason", PROMISES)
def test_every_on_is_borne_out_by_what_it_names(cases: list[Case], reason: str) -> None:
    mine = [case for case in cases if case.command.reason == reason]
    assert mine, f"nothing ran by {reason} that night: the test shows nothing"
    for case in mine:
        PROMISES[reason](case)


def test_no_on_has_another_reason(cases: list[Case]) -> None:
    assert {case.command.reason.value for case in cases} == set(PROMISES)


def test_only_good_readings_moved_anything(cases: list[Case], night: Lived) -> None:
    named = sorted({seq for case in cases for seq in case.command.causes})
    with night.rows() as db:
        rows = db.execute(
            "SELECT r.quality, r.delivery FROM json_each(?) AS n JOIN readings_named AS r ON r.seq = n.value",
            (json.dumps(named),),
        ).fetchall()
    assert len(rows) > 100
    assert {(row["quality"], row["delivery"]) for row in rows} == {(0, "live")}


def test_the_why_trail_says_the_same(cases: list[Case], night: Lived) -> None:
    """`gillhouse why` at the moment of each ON: the same command, the same causes with the same figures, and
    the board's own answer. (The first of each relay and reason, and every twentieth.)"""
    lasting = [case for case in cases if case.one.ts < night.to_ms]  # the stop cuts what begins in its moment
    first = {(case.relay.id, case.command.reason): case for case in reversed(lasting)}
    for case in [*first.values(), *lasting[::20]]:
        chain = why(case.reader, case.relay.id, case.one.ts, case.one.ts + 1)
        assert chain.on
        assert chain.command is not None
        assert chain.command.command == case.command
        assert tuple(link.seq for link in chain.causes) == case.command.causes
        for link, (_, _, item) in zip(chain.causes, case.causes, strict=True):
            _same(link.kind, link.facts, item, night, link.seq)
        assert chain.run is not None
        assert chain.run.from_ms == case.one.ts
        assert chain.echo is not None, f"the board of {case.relay.id} never answered {case.one}"
        assert chain.echo.seq > case.one.seq


def _same(kind: str, facts: Any, item: Input, night: Lived, seq: int) -> None:
    if isinstance(item, Reading):
        assert kind == "reading"
        assert facts["sensor"] == item.sensor
        assert facts["value"] == pytest.approx(believed(night, item, seq), abs=0.006)  # as rounded
        assert facts.get("raw", item.value) == item.value
        assert facts["sensed_ms"] == item.sensed_ms
        assert facts["quality"] == "GOOD"
    elif isinstance(item, OperatorAction):
        assert (kind, facts["who"], facts["act"]) == ("person", item.who, item.act.value)
        assert (facts["subject"], facts["text"]) == (item.subject, item.text)
    else:
        assert isinstance(item, Due)
        assert (kind, facts["what"], facts["due_ms"]) == ("due time", item.what, item.due_ms)
