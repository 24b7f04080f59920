"""Time out of use is marked, and in no share and no sum. Hours and shares are worked by hand."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from audit.nights import HOUR_MS, at, lived, shipped_config
from gillhouse.audit import hold
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.night import Night, Window
from gillhouse.audit.out_of_use import out_of_use
from gillhouse.audit.record import record
from gillhouse.audit.text import as_text
from gillhouse.core.inputs import Act, Input, OperatorAction
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.store.records import EventAt

ROME = ZoneInfo("Europe/Rome")
BEGIN = at("2026-10-13 20:00")
HOURS = 4.0
WINDOW = Window(BEGIN, BEGIN + int(HOURS * HOUR_MS), ROME)


def values(sensor: str, hours: float) -> float | None:
    """The tent as its crop wants it, but bone dry from hour 1 to hour 2."""
    if sensor == "tent-rh":  # the last digit trembles, as of a live sensor
        return (50.0 if 1.0 <= hours < 2.0 else 92.0) + round(hours * 120) % 2 / 10
    return {"tent-temp": 18.0, "tent-co2": 700.0, "tent-door": 0.0}.get(sensor)


def acts(*said: tuple[float, Act]) -> list[tuple[float, Input]]:
    return [(hours, OperatorAction(act, "tent", "Ana", "between two crops")) for hours, act in said]


def night(folder: Path, *said: tuple[float, Act]) -> Night:
    with lived(folder / "journal.db", shipped_config(), BEGIN, HOURS, values, acts(*said)) as reader:
        return figures(gather(reader, WINDOW, WINDOW.to_ms), ["tent"])


def humidity(told: Night) -> dict[str, float]:
    quantities: dict[str, dict[str, float]] = record(told)["nights"][0]["quantities"]
    return quantities[Quantity.HUMIDITY.value]


def test_an_hour_dry_counts_where_the_tent_is_in_use_and_not_where_it_is_not(tmp_path: Path) -> None:
    (tmp_path / "used").mkdir()
    (tmp_path / "unused").mkdir()
    used = humidity(night(tmp_path / "used"))
    told = night(tmp_path / "unused", (0.9, Act.EMPTY), (2.1, Act.OVER))
    unused = humidity(told)
    assert used["below_h"] == pytest.approx(1.0, abs=0.02)
    assert used["in_band_pct"] == pytest.approx(75.0, abs=0.6)
    assert (unused["below_h"], unused["in_band_pct"]) == (0.0, 100.0)
    assert unused["covered_h"] == pytest.approx(HOURS - 1.2, abs=0.02)
    assert unused["coverage_pct"] == pytest.approx(100.0, abs=0.6)
    assert unused["gaps"] == used["gaps"]
    spans = record(told)["nights"][0]["out_of_use"]
    assert [span["lasted_s"] for span in spans] == [pytest.approx(1.2 * 3600, abs=31)]
    assert "Out of use 20:54-22:06: left out." in as_text(told)


def test_a_whole_night_out_of_use_is_not_judged(tmp_path: Path) -> None:
    told = night(tmp_path, (0.0, Act.EMPTY))
    assert "OUT OF USE" in as_text(told)
    assert "NO READINGS" not in as_text(told)


def said(hours: float, reason: Reason, mode: str = "empty", space: str = "tent") -> EventAt:
    facts = {"space": space, "mode": mode, "what": "", "how": "", "who": "", "lasts": "", "because": ""}
    event = Event(EventKind.DECISION, space, space, reason, facts)
    return EventAt(0, 0, BEGIN + int(hours * HOUR_MS), event)


@pytest.mark.parametrize(
    ("kept", "events", "hours"),
    [
        ({}, [], []),
        ({"tent": {"mode": "empty", "since_wall_ms": BEGIN - 9 * HOUR_MS}}, [], [(0.0, 4.0)]),
        (
            {"tent": {"mode": "empty", "since_wall_ms": BEGIN - 9 * HOUR_MS}},
            [said(-1, Reason.MODE_OVER)],
            [],
        ),
        ({"tent": {"mode": "harvest", "since_wall_ms": BEGIN}}, [], []),
        ({}, [said(1, Reason.MODE_BEGUN), said(2, Reason.MODE_OVER)], [(1.0, 2.0)]),
        ({}, [said(1, Reason.MODE_BEGUN, "cleaning"), said(2, Reason.MODE_OVER, "cleaning")], []),
        ({}, [said(3, Reason.MODE_BEGUN)], [(3.0, 4.0)]),
        ({}, [said(5, Reason.MODE_BEGUN)], []),
    ],
)
def test_when_it_was(
    kept: dict[str, object], events: list[EventAt], hours: list[tuple[float, float]]
) -> None:
    found = out_of_use(kept, events, WINDOW).get("tent", [])
    assert [((begin - BEGIN) / HOUR_MS, (end - BEGIN) / HOUR_MS) for begin, end in found] == hours


def test_taken_out_of_a_staircase() -> None:
    steps = [hold.Held(0, 10, 1.0, False), hold.Held(10, 20, 2.0, True)]
    left = hold.without(steps, [(3, 5), (8, 12), (19, 30)])
    assert [(one.from_ms, one.to_ms, one.value) for one in left] == [
        (0, 3, 1.0), (5, 8, 1.0), (12, 19, 2.0)
    ]  # fmt: skip
    assert hold.outside_of([(0, 10)], [(2, 4)]) == [(0, 2), (4, 10)]
