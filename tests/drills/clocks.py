"""The wall clock steps by a second to a year, either way; boots in 1970; and lives through both odd nights.

What must hold: no run gets longer, no rest shorter, no programme comes twice or is left out for it, fresh
readings go on steering. Runs and rests are measured on the monotonic clock, by the relay's own history.
Outside truth: summer time begins and ends in the European Union at 01:00 UTC on the last Sundays of March
and October (Directive 2000/84/EC); in 2026 those are 29 March and 25 October.
"""

from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.virtual import DAY, HOUR, MINUTE, VirtualHouse, running, runs_ms

from gillhouse.clock import VirtualClock
from gillhouse.core.inputs import Due
from gillhouse.core.outputs import EventKind
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

ROME = ZoneInfo("Europe/Rome")
STEPS_MS = {
    Size.QUICK: (1000, -1000, HOUR, -HOUR, -365 * DAY),
    Size.FULL: tuple(
        sign * by for by in (1000, 3000, MINUTE, HOUR, DAY, 30 * DAY, 365 * DAY) for sign in (1, -1)
    ),
}
PULSE_MS, GAP_MS = 3_000, 60_000
"""Of the mist in `virtual.TENT`."""
NIGHTS = {"spring": "2026-03-28T23:00", "autumn": "2026-10-24T23:00"}
"""Where it begins, in UTC: two hours before the clock changes."""
NIGHT_HOURS = {Size.QUICK: 4, Size.FULL: 16}


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def minutes(house: VirtualHouse, how_many: int, offset_ms: int = 0) -> None:
    """The board reports every half minute, by a clock that is `offset_ms` from ours."""
    for _ in range(how_many * 2):
        now = house.clock.now()
        house.air(now.wall_ms + offset_ms)
        house.until(now.mono_ms + 30_000)


def judged(house: VirtualHouse) -> int:
    """No pulse longer than it may be, no rest shorter. Returns how many there were."""
    runs = runs_ms(house.clicks("tent-mist"))
    longest = max(off - on for on, off in runs)
    assert longest <= 60_000, f"mist ran for {longest} ms"
    rests = [later[0] - before[1] for before, later in pairwise(runs)]
    assert not rests or min(rests) >= GAP_MS - 1000, f"mist rested {min(rests)} ms only"
    return len(runs)


def steps(size: Size, folder: Path, told: Told) -> list[Line]:
    """In the middle of a pulse the clock is set on or back; the board keeps the right time."""
    pulses = silent = 0
    for place, by_ms in enumerate(STEPS_MS[size]):
        start = utc("2026-12-10T12:00:20")
        with running(folder / str(place), VirtualClock(start)) as house:
            minutes(house, 4)
            before = judged(house)
            house.until(house.clock.now().mono_ms + 1_000)
            house.clock.step_wall(by_ms)
            house.settle()
            minutes(house, 6, -by_ms)
            judged(house)
            minutes(house, 5)  # now the board follows too
            after = judged(house)
            silent += after <= before
            pulses += after
            status = house.service.status()["spaces"]["tent"]["quantities"]["humidity"]
            assert status["quality"] == "GOOD", f"after {by_ms} ms the board is not believed: {status}"
        told((place + 1) / len(STEPS_MS[size]))
    assert not silent, "mist ceased after a step"
    return [
        Line("steps of the clock, 1 s to 1 year, either way", count(len(STEPS_MS[size]))),
        Line("mist pulses in all", count(pulses)),
        Line("runs that got longer, rests that got shorter, steering that ceased", "0, 0, 0", "0, 0, 0"),
    ]


def boot_1970(size: Size, folder: Path, told: Told) -> list[Line]:
    """It boots in 1970 beside boards that know the time, and is set right ten minutes later."""
    right = utc("2026-12-10T12:00:00")
    with running(folder / "farm", VirtualClock(right - HOUR)) as house:
        minutes(house, 10)
    clock = VirtualClock(9_000)
    clock.told_set = None
    with running(folder / "farm", clock) as house:
        minutes(house, 10, right - 9_000)
        before = judged(house)
        assert before, "it did not steer while its clock stood in 1970"
        assert house.service.status()["clock_set"] is False
        clock.step_wall(right - 9_000)
        minutes(house, 5)
        assert house.service.status()["clock_set"] is True
        pulses = judged(house)
    told(1.0)
    with Reader(folder / "farm" / JOURNAL) as reader:
        starts = [at.event for at in reader.events(0, 1 << 50, EventKind.STARTED)]
    assert any(one.facts.get("time_unsure") for one in starts)
    return [
        Line("boot in 1970: mist pulses before the clock was set, and after", f"{before}, {pulses - before}"),
        Line("told as unsure until then, in the journal", "yes", "yes"),
    ]


def nights(size: Size, folder: Path, told: Told) -> list[Line]:
    """The night that loses an hour and the night that has one twice."""
    lines, hours = [], NIGHT_HOURS[size]
    for place, (name, evening) in enumerate(NIGHTS.items()):
        with running(folder / name, VirtualClock(utc(evening)), "Europe/Rome") as house:
            while house.clock.now().mono_ms < hours * HOUR:
                minutes(house, 30)
                told((place + house.clock.now().mono_ms / (hours * HOUR)) / 2)
            judged(house)
        with Reader(folder / name / JOURNAL) as reader:
            dues = [
                (now.wall_ms, item.what)
                for _, now, item in reader.inputs_between(0, 1 << 40)
                if isinstance(item, Due)
            ]
        nightly = [datetime.fromtimestamp(at / 1000, ROME) for at, what in dues if what == "nightly"]
        hourly = [at for at, what in dues if what == "hourly"]
        assert len(nightly) == 1, f"{name}: the programme of 02:30 came at {nightly}"
        assert len(hourly) == hours, f"{name}: {len(hourly)} hourly runs in {hours} hours"
        lines.append(
            Line(f"{name} night: the programme of 02:30 came", f"once, at {nightly[0]:%H:%M}", "once")
        )
        lines.append(Line(f"{name} night: hourly runs in its {hours} hours", count(len(hourly)), str(hours)))
    return lines


STEPS = Drill(
    "Clock set on and back", "The wall clock steps while mist runs; the boards follow later.", steps
)
BOOT = Drill(
    "Boot in 1970", "A board without a battery clock, beside sensor boards that know the time.", boot_1970
)
DAYLIGHT = Drill("Both nights of the clock change", "Europe/Rome, 29 March and 25 October 2026.", nights)
