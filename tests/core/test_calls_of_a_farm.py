"""Calls as the whole farm makes them: through inputs, deadlines, snapshots and restarts.

Expected moments are worked by hand from the farm's delays (a sensor is silent after 120 s) and the rows of
the escalation (see test_calling). "A silent sensor calls nobody while something else holds" is the project's
own rule.
"""

from dataclasses import replace

import pytest

from core.farm_parts import WALL_MS, Bench, farm, sensor
from gillhouse.core.edges import PersonSettings, ReachSettings
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import (
    Act,
    ChannelReport,
    ClockStep,
    Link,
    LinkChange,
    OperatorAction,
    RelayReport,
    SettingsChange,
    Started,
)
from gillhouse.core.outputs import Call, CallKind, EventKind, Outcome
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import CallSettings, FarmSettings, ProgrammeSettings, Role, When

ANA = PersonSettings("ana", "Ana", (ReachSettings("post", "ana@farm.invalid"), ReachSettings("hook")))
CALLING = CallSettings((ANA,), night_from_min=0, night_to_min=0)
"""No night at all, so that the hour of the test plays no part."""
DAY_S = 86_400


class Calling(Bench):
    """A bench that keeps the calls too."""

    def __init__(self, settings: FarmSettings) -> None:
        self.calls: list[tuple[int, Call]] = []
        self.echoes = False
        """The boards say at once what their relays do."""
        super().__init__(settings)

    def give(self, item: object) -> Outcome:
        out = super().give(item)  # type: ignore[arg-type]
        self.calls += [(self.ms, call) for call in out.calls]
        for command in out.commands if self.echoes else ():
            self.give(RelayReport(command.relay, command.on))
        return out

    def alarms(self, about: str = "") -> list[tuple[int, str]]:
        told = [(ms, one.notices) for ms, one in self.calls if one.kind is CallKind.ALARM]
        return [(ms, one.alarm) for ms, notices in told for one in notices if one.alarm.startswith(about)]


def house(**more: object) -> FarmSettings:
    return farm(calling=CALLING, **more)  # type: ignore[arg-type]


def air(bench: Bench, *names: str) -> None:
    """An hour's start in a good room, so that only silence is wrong."""
    values = {"rh": 90.0, "temp": 17.0, "co2": 800.0}
    bench.read(**{f"room_{name}": values[name] for name in names or values})


def quiet_but(bench: Calling, seconds: int, *names: str) -> None:
    for _ in range(seconds // 30):
        air(bench, *names)
        bench.wait(30)


def test_a_silent_sensor_that_nothing_stands_in_for_calls_once() -> None:
    bench = Calling(house())
    air(bench)
    quiet_but(bench, 600, "temp", "co2")
    assert bench.alarms() == [(150_000, "sensor-silent:room-rh")], "silent at 120 s, held for 30 s"


def test_another_good_sensor_of_the_same_air_makes_it_a_line_in_the_digest() -> None:
    spare = sensor("room-rh2", Quantity.HUMIDITY, "room", zone="door")
    bench = Calling(house(sensors=(spare,)))
    air(bench)
    for _ in range(20):
        bench.read(room_temp=17.0, room_co2=800.0, room_rh2=90.0)
        bench.wait(30)
    assert bench.alarms() == []
    (told,) = [one for _, one in bench.notices if one.alarm == "sensor-silent:room-rh" and one.announce]
    assert (told.priority, told.facts["covered_by"]) == (3, "room-rh2")
    quiet_but(bench, 600, "temp", "co2")
    assert "sensor-silent:room-rh2" in [alarm for _, alarm in bench.alarms()], "now nothing is left"


@pytest.mark.parametrize(("echoes", "calls"), [(True, 0), (False, 1)])
def test_a_fallback_programme_stands_in_only_where_its_relay_is_proved(echoes: bool, calls: int) -> None:
    mist = ProgrammeSettings("mist-by-time", "room", Role.MIST, 8_000, 8_000, When.FALLBACK, every_min=15)
    settings = house(programmes=(mist,))
    relays = {
        name: replace(one, echo_within_ms=5_000) if name == "room-mist" and echoes else one
        for name, one in settings.relays.items()
    }
    bench = Calling(replace(settings, relays=relays))
    air(bench)
    bench.echoes = echoes
    if echoes:
        bench.give(RelayReport("room-mist", False))
    quiet_but(bench, 600, "temp", "co2")
    assert len(bench.alarms()) == calls


def test_every_call_stands_among_the_events_and_names_its_cause() -> None:
    bench = Calling(house())
    bench.give(LinkChange(Link.BROKER, False, "refused"))
    bench.wait(130)
    ((ms, call),) = bench.calls
    assert (ms, call.person, call.priority) == (120_000, "ana", 1)
    (event,) = [one for _, one in bench.events if one.kind is EventKind.CALL]
    assert (event.subject, event.facts["alarm"], event.facts["why"]) == ("ana", "broker-lost:broker", "alarm")
    assert call.id.split(".")[0] == str(event.causes[0])


def test_a_night_of_calls_goes_on_to_the_same_bytes_from_a_snapshot_at_any_moment() -> None:
    bench = Calling(house())
    air(bench)
    twin: Farm | None = None
    given = len(bench.inputs)
    for number in range(40):
        if number == 20:
            twin = Farm.restore(house(), bench.farm.snapshot())
            given = len(bench.inputs)
        if number == 10:
            bench.give(LinkChange(Link.BROKER, False))
        if number == 30:
            bench.give(OperatorAction(Act.ACK, "broker-lost:broker", "ana"))
        bench.wait(60)
    assert twin is not None
    again = [call for seq, now, item in bench.inputs[given:] for call in twin.handle(seq, now, item).calls]
    made = [call for ms, call in bench.calls if ms > 20 * 60_000]
    assert again == made
    assert twin.snapshot() == bench.farm.snapshot()


def test_after_a_crash_what_waits_is_called_on_and_nothing_is_doubled() -> None:
    bench = Calling(house())
    bench.give(LinkChange(Link.BROKER, False, "refused"))
    bench.wait(180)
    assert bench.alarms("broker") == [(120_000, "broker-lost:broker")]
    bench.farm = Farm.restore(house(), bench.farm.snapshot())
    bench.give(Started("test", "digest", False, away_ms=60_000))
    bench.wait(30)
    bench.give(LinkChange(Link.BROKER, False, "refused"))
    bench.wait(30 * 60)
    told = [round(ms / 60_000) for ms, _ in bench.alarms("broker")]
    assert told == [2, 7, 17, 32], "0, 5, 15 and 30 min after the first, as if nothing had happened"
    bench.give(LinkChange(Link.BROKER, True))
    bench.wait(180)
    (back,) = [call for _, call in bench.calls if call.kind is CallKind.BACK]
    assert back.facts["from_ms"] == WALL_MS


def test_recording_while_nothing_runs_calls_nobody_and_loses_no_digest() -> None:
    bench = Calling(house())
    bench.farm.tells = False
    bench.ms += 2 * DAY_S * 1000
    bench.give(OperatorAction(Act.NOTE, "room", "ana", "hosed"))
    assert bench.calls == []
    bench.farm.tells = True
    bench.give(OperatorAction(Act.NOTE, "room", "ana", "hosed"))
    assert [call.kind for _, call in bench.calls][:1] == [CallKind.DIGEST]


def test_the_digest_counts_what_was_heard_and_survives_a_clock_that_is_set() -> None:
    bench = Calling(house())
    air(bench)
    bench.give(ClockStep(0))
    bench.wait(DAY_S)
    (ms, call) = next((ms, one) for ms, one in bench.calls if one.kind is CallKind.DIGEST)
    assert call.facts["readings"] == 3
    assert (WALL_MS + ms) // 60_000 % 1440 == 7 * 60 + 30


def test_a_channel_that_takes_nothing_for_eight_days_is_told_of_and_cleared_by_the_next_success() -> None:
    bench = Calling(house())
    for _ in range(8):
        bench.ms += DAY_S * 1000
        bench.give(ChannelReport("post", True))
        bench.give(ChannelReport("hook", False, detail="401"))
    assert bench.alarms("channel") == []
    bench.wait(600)
    ((ms, alarm),) = bench.alarms("channel")
    assert alarm == "channel-dead:hook"
    assert 8 * DAY_S * 1000 + 30_000 <= ms <= 8 * DAY_S * 1000 + 330_000, "with the next message"
    bench.give(ChannelReport("hook", True))
    assert [one.transition.value for _, one in bench.notices if one.kind == "channel-dead"] == ["ACT", "RTN"]


def test_new_settings_call_the_new_people() -> None:
    bench = Calling(farm())
    bench.give(LinkChange(Link.BROKER, False))
    bench.wait(130)
    assert bench.calls == []
    bench.farm.resettle(house())
    bench.give(SettingsChange("other"))
    bench.give(Started("test", "digest", True))
    bench.give(LinkChange(Link.BROKER, False))
    bench.wait(60)
    assert [alarm for _, alarm in bench.alarms()] == ["broker-lost:broker"]


def test_the_weekly_list_holds_what_is_due_and_goes_on_monday_morning() -> None:
    """2025-10-09 is a Thursday (date -d); the relays of this farm state no device that cuts them."""
    bench = Calling(house())
    bench.ms = (4 * DAY_S - (8 * 60 + 53) * 60 - 20 + 7 * 3600 + 30 * 60) * 1000
    bench.give(OperatorAction(Act.NOTE, "room", "ana", "looked in"))
    (weekly,) = [call for _, call in bench.calls if call.kind is CallKind.WEEKLY]
    assert {(line["reason"], line["subject"]) for line in weekly.lines} >= {
        ("no-limiter", "room-mist"), ("no-limiter", "room-heater"),
    }  # fmt: skip
