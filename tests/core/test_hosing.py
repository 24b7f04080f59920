"""An open space and its hose, through the farm's one entry. Farms and weather are invented."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from core.farm_parts import WALL_MS, Bench, farm, sensor, space
from gillhouse.alerts.wording import alarm_text
from gillhouse.core.farm import Farm
from gillhouse.core.hosing import says_hosed
from gillhouse.core.inputs import Act, OperatorAction, SettingsChange
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import HoseSettings, SpaceKind

BARN = space("barn", kind=SpaceKind.OPEN)
EDGE = (
    sensor("west-rh", Quantity.HUMIDITY, "barn", "windward"),
    sensor("west-temp", Quantity.TEMPERATURE, "barn", "windward"),
)
UTC = ZoneInfo("UTC")


def barn(*sensors, **more):
    """Without its nozzles, which would water it themselves."""
    settings = farm(replace(BARN, **more), sensors=sensors)
    return replace(settings, relays={})


def act(kind: Act, subject: str = "barn", text: str = "") -> OperatorAction:
    return OperatorAction(kind, subject, "Ada", text)


def shown(bench: Bench) -> dict:
    return bench.farm.status(bench.now())["spaces"]["barn"]["caps"]


def water(bench: Bench) -> list:
    return [(ms, e) for ms, e in bench.events if e.kind is EventKind.WATER]


def alarms(bench: Bench, transition=Transition.ACT) -> list:
    return [(ms, n) for ms, n in bench.notices if n.kind == "hose" and n.transition is transition]


@pytest.mark.parametrize(
    ("text", "hosed"),
    [("hosed the west edge", True), ("Hosed: two cans", True), ("hosed", True), ("will be hosed", False),
     ("hose broken", False), ("", False)],
)  # fmt: skip
def test_which_notes_tell_of_a_hosing(text, hosed) -> None:
    assert says_hosed(text) is hosed


@pytest.mark.parametrize("item", [act(Act.HOSED), act(Act.NOTE, text="hosed the west edge, two cans")])
def test_a_hosing_wets_the_caps_and_the_outlook_names_the_windy_edge(item) -> None:
    """20 C, 80 %: still 0.390 mm a day (`test_drying`). No gauge: 2.5 m/s outdoors, a fifth of it inside,
    2.5 times that over the edge: 1.25 m/s, so 0.390 x 1.67 = 0.651 mm a day; 0.15 mm last 5.5 h."""
    bench = Bench(barn())
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
    assert shown(bench)["hosed_ms"] is None
    bench.give(item)
    now = shown(bench)
    assert now["hosed_ms"] == WALL_MS + bench.ms
    assert now["outlook"]["zone"] == "windy edge"
    assert now["outlook"]["dry_min"] == pytest.approx(60 * 0.15 / 0.651 * 24, rel=0.03)
    assert now["outlook"]["wind"] == ", wind guessed"
    assert [e.reason for _, e in water(bench)] == [Reason.HOSED]


def test_the_call_comes_in_time_and_says_by_when() -> None:
    """At 0.651 mm a day 0.15 + 0.1 mm last 9.2 h; the call comes an hour before."""
    bench = Bench(barn())
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
    bench.give(act(Act.HOSED))
    hosed = bench.ms
    bench.every(60, 600, barn_temp=20.0, barn_rh=80.0)
    ((ms, notice),) = alarms(bench)
    assert (ms - hosed) / 3_600_000 == pytest.approx(9.2 - 1.0, abs=0.35)
    ((_, event),) = [(at, e) for at, e in water(bench) if e.reason is Reason.HOSE_SOON]
    words = WORDS[event.reason].format(**event.facts)
    assert words == "hose within 59 min, windy edge first: caps dry in 0 min, wind guessed"
    text = alarm_text(notice, {"barn": "Barn"}, UTC, WALL_MS + ms)
    by = notice.facts["by_ms"]
    assert by - (WALL_MS + ms) == pytest.approx(3_600_000, abs=300_000)
    assert text.startswith("BARN HOSE")
    assert f"Act by {datetime.fromtimestamp(by / 1000, UTC):%H:%M}" in text
    assert "Hose, windy edge first." in text
    bench.give(act(Act.HOSED))
    bench.every(60, 10, barn_temp=20.0, barn_rh=80.0)
    assert alarms(bench, Transition.RTN)


def test_before_the_first_hosing_only_the_band_speaks() -> None:
    bench = Bench(barn())
    bench.every(60, 24 * 60, barn_temp=20.0, barn_rh=70.0)
    assert not alarms(bench)
    assert [e.reason for _, e in bench.events if e.reason is Reason.ASK_HOSE] == [Reason.ASK_HOSE]


def test_a_zone_dries_by_its_own_sensors_and_wind() -> None:
    gauge = sensor("barn-wind", Quantity.WIND, "barn", "windward", silent_after_ms=10**9)
    bench = Bench(barn(*EDGE, gauge))
    bench.read(barn_wind=4.0)
    bench.every(60, 60, barn_temp=16.0, barn_rh=95.0, west_temp=20.0, west_rh=70.0)
    bench.give(act(Act.HOSED))
    now = shown(bench)["outlook"]
    assert now["zone"] == "windward"
    # By hand: half again as dry as 80 %, 0.585 mm a day in still air; 4 m/s: 3.144 times that.
    assert now["dry_min"] == pytest.approx(60 * 24 * 0.15 / (0.585 * 3.144), rel=0.03)
    assert now["wind"] == ""


@pytest.mark.parametrize(("place", "zone", "felt"), [(None, "outdoor", 2.0), ("barn", "lee", 10.0)])
def test_a_gauge_outdoors_is_sheltered_one_inside_is_not(place, zone, felt) -> None:
    """10 m/s outdoors with a shelter of 0.2 is 2 m/s; over the windy edge 2.5 times either."""
    gauge = sensor("gauge", Quantity.WIND, place, zone, silent_after_ms=10**9)
    bench = Bench(barn(gauge))
    bench.read(gauge=10.0)
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
    bench.give(act(Act.HOSED))
    rate = 0.390 * (1 + 0.536 * felt * 2.5)
    assert shown(bench)["outlook"]["dry_min"] == pytest.approx(60 * 24 * 0.15 / rate, rel=0.03)


def test_seeing_it_dry_teaches() -> None:
    bench = Bench(barn())
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
    bench.give(act(Act.HOSED))
    bench.every(60, 165, barn_temp=20.0, barn_rh=80.0)
    bench.give(act(Act.DRY))
    seen, learnt = (e for _, e in water(bench)[-2:])
    assert WORDS[seen.reason].format(**seen.facts).startswith("Ada saw dry caps in barn 2.8 h after water")
    assert learnt.facts["pct"] == pytest.approx(141, abs=3)
    assert shown(bench)["pace"] == pytest.approx(1.41, abs=0.03)


@pytest.mark.parametrize("item", [act(Act.HOSED, "room"), act(Act.HOSED, "nowhere"), act(Act.DRY)])
def test_what_makes_no_sense_is_refused(item) -> None:
    settings = farm(space(), BARN)
    bench = Bench(settings)
    bench.give(item)
    refused = [e for _, e in bench.events if e.kind is EventKind.REFUSED]
    assert [e.reason for e in refused] == [Reason.UNKNOWN_SUBJECT]


def test_pulses_of_driven_nozzles_wet_the_caps() -> None:
    bench = Bench(farm(BARN))
    bench.every(60, 60, barn_temp=20.0, barn_rh=70.0)
    assert bench.on("barn-mist")
    assert shown(bench)["zones"]["windy edge"] > -0.2
    spent = bench.farm.snapshot()["lines"]["barn-mist"]
    assert spent["litres"] > 0.1
    assert spent["fallen_l"] < 0.2


def test_everything_is_kept_over_a_restart_and_the_way_on_is_the_same() -> None:
    bench = Bench(barn(*EDGE))
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0, west_rh=75.0, west_temp=20.5)
    bench.give(act(Act.HOSED))
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0, west_rh=75.0, west_temp=20.5)
    again, after = Farm.restore(barn(*EDGE), bench.farm.snapshot()), len(bench.inputs)
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0, west_rh=75.0, west_temp=20.5)
    for seq, now, item in bench.inputs[after:]:
        again.handle(seq, now, item)
    assert again.snapshot() == bench.farm.snapshot()


def test_settings_of_the_hose_count() -> None:
    """Half the film, half the time."""
    mins = []
    for film in (0.15, 0.075):
        bench = Bench(barn(hose=HoseSettings(film_mm=film)))
        bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
        bench.give(act(Act.HOSED))
        mins.append(shown(bench)["outlook"]["dry_min"])
    assert mins[0] == pytest.approx(2 * mins[1], abs=2)


def test_the_call_ends_when_the_space_is_open_no_more() -> None:
    bench = Bench(barn(hose=HoseSettings(call_ms=20 * 3_600_000)))
    bench.every(60, 60, barn_temp=20.0, barn_rh=80.0)
    bench.give(act(Act.HOSED))
    bench.every(60, 10, barn_temp=20.0, barn_rh=80.0)
    assert alarms(bench)
    bench.farm.resettle(barn(kind=SpaceKind.ROOM))
    bench.give(SettingsChange("other"))
    assert alarms(bench, Transition.RTN)


def test_its_own_reach_is_told_by_time_of_day() -> None:
    """08:53 UTC to past noon: the reach of the forenoon is known after two hours, that of noon is not yet."""
    bench = Bench(barn())
    bench.every(60, 180, barn_temp=20.0, barn_rh=70.0)
    low, high = shown(bench)["reach"]
    assert 68.0 <= low <= high <= 72.0
    assert shown(bench)["within_reach_pct"] is not None
    bench.every(60, 20, barn_temp=20.0, barn_rh=70.0)
    assert shown(bench)["reach"] is None


def test_what_a_part_of_the_day_came_to_is_told_when_it_is_over() -> None:
    """From 08:53 past noon: 8 to 12 is over. By hand: 187 minutes known, under the band's 85 %; the
    reach is known after 131 (720 ln(720 / 600)), and the 56 from there on are as good as it comes: 30 %."""
    bench = Bench(barn())
    bench.every(60, 250, barn_temp=20.0, barn_rh=70.0)
    ((ms, told),) = [(ms, e) for ms, e in water(bench) if e.reason is Reason.OWN_REACH]
    assert datetime.fromtimestamp((WALL_MS + ms) / 1000, UTC).hour == 12
    assert told.facts["part"] == 2
    assert WORDS[told.reason].format(**told.facts) == "barn came to 70 to 72 % at this time of day lately"
    assert told.facts["within_pct"] == pytest.approx(30, abs=2)


def test_a_closed_space_has_no_caps_account() -> None:
    assert Bench(farm()).farm.status(Bench(farm()).now())["spaces"]["room"]["caps"] is None
