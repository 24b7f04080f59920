"""F6 a heater and the fan it needs; F26 the alarm relay. Times worked by hand in each test."""

from datetime import datetime
from zoneinfo import ZoneInfo

from core.farm_parts import WALL_MS, Bench, farm
from failsafe.farms import CALM, by_hand, calls, contact, guarded, is_on, override, proved_by, refusals
from gillhouse.core.alarm_relay import next_test_ms
from gillhouse.core.guard_settings import SafetySettings
from gillhouse.core.inputs import Act, Reading
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, Role

ROME = ZoneInfo("Europe/Rome")
TURNS = contact("turns", Quantity.RUNNING)
SIREN = RelaySettings("siren", Role.ALARM, None, advise_only=False, lease_ms=60_000)


def warm_room():
    return guarded(TURNS, room_fan=proved_by("turns", 15), room_heater={"only_with": ("room-fan",)})


def test_f06_no_heat_before_the_fan_is_seen_to_run():
    bench = Bench(warm_room())
    bench.read(turns=0.0)
    bench.wait(90)
    override(bench, "room-heater", True)
    assert is_on(bench, "room-fan")  # asked on with it
    assert bench.on("room-fan")[-1][1].reason is Reason.NEEDED_BY
    bench.wait(10)
    assert not is_on(bench, "room-heater")
    assert refusals(bench, "room-heater") == ["not-proved"]
    bench.read(turns=1.0)
    assert is_on(bench, "room-heater")


def test_f06_heat_is_cut_at_once_when_the_fan_is_no_longer_seen():
    bench = Bench(warm_room())
    bench.read(turns=0.0)
    bench.wait(90)
    override(bench, "room-heater", True)
    bench.read(turns=1.0)
    assert is_on(bench, "room-heater")
    bench.wait(5)  # well under its least on time
    bench.read(turns=0.0)
    assert not is_on(bench, "room-heater")
    assert bench.off("room-heater")[-1][1].reason is Reason.NOT_PROVED


def test_f06_heat_is_cut_when_the_proof_falls_silent():
    silent = contact("turns", Quantity.RUNNING, silent_after_ms=120_000)
    bench = Bench(guarded(silent, room_fan=proved_by("turns", 15), room_heater={"only_with": ("room-fan",)}))
    bench.wait(90)
    override(bench, "room-heater", True)
    bench.read(turns=1.0)
    assert is_on(bench, "room-heater")
    bench.wait(119)
    assert is_on(bench, "room-heater")
    bench.wait(2)
    assert not is_on(bench, "room-heater")


def sounder():
    return Bench(farm(relays=(SIREN,)))


def test_f26_the_alarm_relay_rises_with_the_first_good_reading_and_not_before():
    bench = sounder()
    bench.wait(100)
    assert not is_on(bench, "siren")
    bench.give(Reading("room-rh", 250.0, WALL_MS))  # impossible
    assert not is_on(bench, "siren")
    bench.read(room_rh=90.0)
    assert is_on(bench, "siren")
    assert bench.on("siren")[-1][1].lease_ms == 60_000  # a dead daemon drops it within a minute


def test_f26_it_drops_while_an_alarm_of_priority_1_waits_for_somebody():
    bench = sounder()
    bench.read(room_rh=90.0, **CALM)
    bench.read(room_co2=3_900.0)
    bench.wait(30)
    for co2 in (7_000.0, 10_000.0, 13_000.0, 16_000.0, 16_100.0):
        bench.read(room_co2=co2)
        bench.wait(60)
    assert calls(bench, "co2-people-15000") != []
    assert not is_on(bench, "siren")
    assert bench.off("siren")[-1][1].reason is Reason.ALARM_CALLS
    bench.give(by_hand(Act.ACK, "co2-people-15000:room"))
    assert is_on(bench, "siren")


def test_f26_once_a_week_it_drops_for_two_seconds_and_that_is_logged():
    """The bench begins on Thursday 2025-10-09, 08:53:20 UTC; Monday 10:00 UTC is 349,600 s later."""
    bench = sounder()
    bench.read(room_rh=90.0, **CALM)
    bench.wait(349_599)
    assert is_on(bench, "siren") and len(bench.off("siren")) == 1  # the OFF of the start
    bench.wait(7 * 86_400)
    drops = [(ms, c.reason) for ms, c in bench.off("siren")][1:]
    rises = [ms for ms, _ in bench.on("siren")][1:]
    first = 349_600_000
    assert (first, Reason.SELF_TEST) in drops
    assert first + 2_000 in rises
    tests = [ms for ms, e in bench.events if e.reason is Reason.SELF_TEST and e.subject == "siren"]
    assert tests[:1] == [first + 2_000]


def test_f26_the_weekly_test_keeps_its_hour_by_the_wall_in_both_change_nights():
    """Europe/Rome changed on Sunday 2025-10-26 and 2026-03-29 (IANA tz database)."""
    safety = SafetySettings(test_weekday=0, test_at_min=600)
    for day, after in (("2025-10-20", "2025-10-27"), ("2026-03-23", "2026-03-30")):
        due = datetime.fromisoformat(f"{day}T10:00").replace(tzinfo=ROME)
        found = next_test_ms(int(due.timestamp() * 1000), safety, ROME)
        assert datetime.fromtimestamp(found / 1000, ROME).isoformat()[:16] == f"{after}T10:00"


def lamp_room():
    """A room people can enter, with a door switch, a people switch that can fall silent, and a UV lamp."""
    return guarded(
        contact("door", Quantity.DOOR, silent_after_ms=600_000),
        contact("people", Quantity.PEOPLE, silent_after_ms=600_000),
        relays=(RelaySettings("lamp", Role.UV, "room", advise_only=False, least_on_ms=3_600_000),),
    )


def lit_room():
    """The lamp is on: door shut and nobody inside, both proved."""
    bench = Bench(lamp_room())
    bench.read(door=0.0, people=0.0)
    override(bench, "lamp", True, 3600)
    assert is_on(bench, "lamp")
    return bench


def test_f06_no_uv_before_door_and_people_are_heard():
    bench = Bench(lamp_room())
    override(bench, "lamp", True, 3600)
    assert not is_on(bench, "lamp")
    bench.read(door=0.0)
    assert not is_on(bench, "lamp")
    bench.read(people=0.0)
    assert is_on(bench, "lamp")


def test_f06_uv_is_cut_at_once_by_the_door_the_switch_and_the_mode_whatever_its_least_on_time():
    for cut, reason in (
        (lambda bench: bench.read(door=1.0), Reason.DOOR_OPEN),
        (lambda bench: bench.read(people=1.0), Reason.PEOPLE_INSIDE),
        (lambda bench: bench.give(by_hand(Act.INSIDE, "room")), Reason.PEOPLE_INSIDE),
    ):
        bench = lit_room()
        bench.wait(10)
        cut(bench)
        assert not is_on(bench, "lamp")
        assert bench.off("lamp")[-1][1].reason is reason
        override(bench, "lamp", True, 3600)
        assert not is_on(bench, "lamp")


def test_f06_uv_is_cut_when_nobody_can_say_any_more_that_the_room_is_shut_and_empty():
    """For a lamp that harms people 'not known' is not harmless: ten minutes of silence put it off."""
    for spoken, reason in (("people", Reason.DOOR_UNPROVED), ("door", Reason.PEOPLE_UNPROVED)):
        bench = lit_room()
        for _ in range(11):
            bench.wait(60)
            bench.read(**{spoken: 0.0})
        assert not is_on(bench, "lamp"), spoken
        assert bench.off("lamp")[-1][1].reason is reason
