"""The night's figures once more, by a naive second pass over the journal with plain SQL and the rule as told.

The rule, from docs/reference/night-json.md: a reading that counts (judged good, or late under its own time)
holds until the next one of the same sensor, never longer than the sensor's silence limit; several sensors'
values become one by the space's rule; all figures are sums over that staircase; exactly on a limit is inside.
A reading is corrected by the last check journalled before it: slope x raw + offset, humidity within 0 and 100
and left alone at either; a sensor counts as checked while that check is in date.
A run begins with an ON, lasts as long as it is renewed, ends with the OFF, when its time is up, or when the
daemon stops or starts. Nothing of `gillhouse.audit` is used here.
"""

import json
import sqlite3
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean, median
from typing import Any

import pytest

from acceptance.nights import HOUR_MS, Lived
from gillhouse.core.settings import SensorSettings

SPACES = ("room", "tent", "barn")
QUANTITIES = ("humidity", "co2", "temperature")


@dataclass
class Sensor:
    settings: SensorSettings
    times: list[int]
    values: list[float]
    checked: list[bool]
    """A check was in date at that reading."""

    def sure(self, at_ms: int) -> bool:
        place = bisect_right(self.times, at_ms) - 1
        return self.settings.calibrated or (place >= 0 and self.checked[place])

    def held(self, at_ms: int) -> float | None:
        """What it says at a moment."""
        place = bisect_right(self.times, at_ms) - 1
        if place < 0 or at_ms >= self.times[place] + self.settings.silent_after_ms:
            return None
        return self.values[place]


def sensors(night: Lived, space: str, quantity: str) -> list[Sensor]:
    found = []
    with night.rows() as db:
        for settings in night.config.farm.sensors.values():
            if (settings.space, settings.quantity) != (space, quantity):
                continue
            rows = db.execute(
                "SELECT ts, value, seq FROM readings_named WHERE sensor = ? AND ts < ? "
                "AND (quality = 0 OR mark = 'arrived-late') AND zone NOT IN ('outdoor', 'intake') "
                "ORDER BY ts",
                (settings.id, night.to_ms),
            ).fetchall()
            lines = checks(db, settings.id)
            believed = [corrected(lines, row["seq"], row["value"], row["ts"], quantity) for row in rows]
            found.append(
                Sensor(
                    settings,
                    [row["ts"] for row in rows],
                    [value for value, _ in believed],
                    [sure for _, sure in believed],
                )
            )
    return found


def checks(db: sqlite3.Connection, sensor: str) -> list[tuple[int, dict[str, Any] | None]]:
    """(journal number, the check) of a sensor, the newest first; None where one was taken back."""
    rows = db.execute("SELECT seq, body FROM inputs WHERE kind = 'Calibrated' ORDER BY seq DESC").fetchall()
    bodies = [(row["seq"], json.loads(row["body"])) for row in rows]
    return [(seq, body["calibration"]) for seq, body in bodies if body["sensor"] == sensor]


def corrected(
    lines: list[tuple[int, dict[str, Any] | None]], seq: int, raw: float, ts: int, quantity: str
) -> tuple[float, bool]:
    """What the value was believed to be, and whether a check was in date."""
    line = next((check for begun, check in lines if begun < seq), None)
    if line is None:
        return raw, False
    value = line["slope"] * raw + line["offset"]
    if quantity == "humidity":
        value = raw if raw in (0.0, 100.0) else min(max(value, 0.0), 100.0)
    return value, ts < line["due_ms"]


def one_value(quantity: str, held: list[tuple[Sensor, float]], at_ms: int) -> float:
    """The rules of the shipped farm: humidity by the sensor that was checked, the highest CO2, the middle
    temperature (docs/reference/config.md)."""
    values = [value for _, value in held]
    if quantity == "co2":
        return max(values)
    if quantity == "temperature" or len(values) > 2:
        return median(values)
    return mean([value for sensor, value in held if sensor.sure(at_ms)] or values)


def stairs(night: Lived, space: str, quantity: str) -> list[tuple[int, int, float | None]]:
    """(begin, how long, value or None) for every stretch in which nothing can change."""
    some = sensors(night, space, quantity)
    edges = {night.from_ms, night.to_ms, *night.steps(space)}
    for sensor in some:
        edges.update(sensor.times, [ts + sensor.settings.silent_after_ms for ts in sensor.times])
    inside = sorted(edge for edge in edges if night.from_ms <= edge <= night.to_ms)
    steps: list[tuple[int, int, float | None]] = []
    for begin, end in pairwise(inside):
        held = [(sensor, value) for sensor in some if (value := sensor.held(begin)) is not None]
        steps.append((begin, end - begin, one_value(quantity, held, begin) if held else None))
    return steps


def near(value: float, decimals: int) -> Any:
    """As rounded in night.json (the sums may be made in another order)."""
    return pytest.approx(value, abs=0.6 * 10**-decimals)


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("space", SPACES)
def test_a_spaces_air(night: Lived, space: str, quantity: str) -> None:
    (told,) = [one for one in night.told["nights"] if one["space"] == space]
    figures = told["quantities"][quantity]
    assert (figures["low"], figures["high"]) == night.band(space, quantity, night.to_ms - 1)
    steps = stairs(night, space, quantity)
    known = [(lasted, value) for _, lasted, value in steps if value is not None]
    covered = sum(lasted for lasted, _ in known)
    below, above = [], []
    for begin, lasted, value in steps:
        low, high = night.band(space, quantity, begin)
        if value is not None and low is not None and value < low:
            below.append((lasted, low - value))
        if value is not None and high is not None and value > high:
            above.append((lasted, value - high))
    outside = sum(lasted for lasted, _ in below + above)
    assert covered > 10 * HOUR_MS
    assert figures["samples"] == sum(
        night.from_ms <= ts for sensor in sensors(night, space, quantity) for ts in sensor.times
    )
    assert figures["coverage_pct"] == near(100 * covered / (night.to_ms - night.from_ms), 2)
    assert figures["covered_h"] == near(covered / HOUR_MS, 4)
    assert figures["min"] == near(min(value for _, value in known), 3)
    assert figures["max"] == near(max(value for _, value in known), 3)
    assert figures["mean"] == near(sum(lasted * value for lasted, value in known) / covered, 3)
    assert figures["in_band_pct"] == near(100 * (covered - outside) / covered, 2)
    assert figures["below_h"] == near(sum(lasted for lasted, _ in below) / HOUR_MS, 4)
    assert figures["above_h"] == near(sum(lasted for lasted, _ in above) / HOUR_MS, 4)
    assert figures["deficit_below_h"] == near(sum(lasted * by for lasted, by in below) / HOUR_MS, 4)
    assert figures["deficit_above_h"] == near(sum(lasted * by for lasted, by in above) / HOUR_MS, 4)
    assert figures["deficit_h"] == near(sum(lasted * by for lasted, by in below + above) / HOUR_MS, 4)


def test_a_check_was_entered_in_the_night(night: Lived) -> None:
    """Else nothing above would have been corrected. Both lines are told: raw before, the check's after."""
    with night.rows() as db:
        bodies = [
            json.loads(row["body"]) for row in db.execute("SELECT body FROM inputs WHERE kind = 'Calibrated'")
        ]
    (check,) = bodies
    told = [sensor for space in night.told["nights"] for sensor in space["sensors"]]
    (sensor,) = [one for one in told if one["calibrations"]]
    assert sensor["id"] == check["sensor"]
    (line,) = sensor["calibrations"]
    assert line["slope"] == near(check["calibration"]["slope"], 6)
    assert line["from"] > night.told["from"]


def test_bands_moved_in_the_night(night: Lived) -> None:
    """Else one band would have done above."""
    (room,) = [one for one in night.told["nights"] if one["space"] == "room"]
    assert all(len(figures["limits"]) > 5 for figures in room["quantities"].values())


def test_the_night_is_not_all_good_and_not_all_covered(night: Lived) -> None:
    """Else the figures above would hold of a report that counts nothing."""
    figures = {space["space"]: space["quantities"] for space in night.told["nights"]}
    assert figures["room"]["humidity"]["deficit_below_h"] > 0  # the door stood open
    assert figures["tent"]["humidity"]["coverage_pct"] < 99  # its board was dead for 55 min
    assert figures["tent"]["humidity"]["coverage_pct"] == near(
        100 * (1 - _dead_ms(night) / (night.to_ms - night.from_ms)), 2
    )


def _dead_ms(night: Lived) -> int:
    """Tent board: longest pause between two readings, less the two minutes a reading holds at most."""
    (sensor,) = sensors(night, "tent", "humidity")
    assert sensor.settings.silent_after_ms == 120_000
    pauses = [after - before - 120_000 for before, after in pairwise(sensor.times)]
    return sum(pause for pause in pauses if pause > 0)


def stops(night: Lived) -> list[int]:
    with night.rows() as db:
        rows = db.execute("SELECT ts FROM events WHERE kind IN ('started', 'stopped') ORDER BY ts").fetchall()
    return [row["ts"] for row in rows]


def on_spans(night: Lived, relay: str) -> list[tuple[int, int]]:
    """One span per ON, cut at the next OFF or stop after it; overlapping ones made one."""
    with night.rows() as db:
        rows = db.execute(
            "SELECT ts, is_on, lease_ms FROM commands WHERE relay = ? AND NOT advise ORDER BY id", (relay,)
        ).fetchall()
    spans: list[tuple[int, int]] = []
    for place, row in enumerate(rows):
        if not row["is_on"]:
            continue
        cuts = [later["ts"] for later in rows[place + 1 :] if not later["is_on"]][:1]
        cuts += [at for at in stops(night) if at > row["ts"]]
        begin, end = row["ts"], min([row["ts"] + row["lease_ms"], *cuts])
        if spans and begin <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], end))
        else:
            spans.append((begin, end))
    clipped = [(max(begin, night.from_ms), min(end, night.to_ms)) for begin, end in spans]
    return [(begin, end) for begin, end in clipped if begin < end]


def test_every_relay(night: Lived) -> None:
    given = 0.0
    for id, told in night.relays().items():
        with night.rows() as db:
            (starts,) = db.execute(
                "SELECT count(*) FROM commands WHERE relay = ? AND is_on AND NOT renewal AND NOT advise "
                "AND ts >= ? AND ts < ?",
                (id, night.from_ms, night.to_ms),
            ).fetchone()
        spans = on_spans(night, id)
        on_ms = sum(end - begin for begin, end in spans)
        label = night.config.farm.relays[id].litres_per_h
        assert told["starts"] == starts, id
        assert told["switchings"] == starts + sum(end < night.to_ms for _, end in spans), id
        assert told["on_s"] == near(on_ms / 1000, 1), id
        assert told["litres"] == near(label * on_ms / HOUR_MS, 3), id
        assert sum(run["lasted_s"] for run in told["runs"]) == pytest.approx(
            on_ms / 1000, abs=0.06 * max(1, len(spans))
        )
        assert (told["advised"]["switchings"], told["advised"]["on_s"]) == (0, 0), f"{id} is let go here"
        given += label * on_ms / HOUR_MS
    assert given > 1.0


def test_every_sensor(night: Lived) -> None:
    told = list(night.told["shared"]["sensors"])
    for space in night.told["nights"]:
        told += space["sensors"]
    with night.rows() as db:
        for one in told:
            received, good = db.execute(
                "SELECT count(*), sum(quality = 0) FROM readings_named "
                "WHERE sensor = ? AND ts >= ? AND ts < ?",
                (one["id"], night.from_ms, night.to_ms),
            ).fetchone()
            assert (one["received"], one["counted"] - one["late"]) == (received, good), one["id"]
            assert received > 600
    assert {one["id"] for one in told} == set(night.config.farm.sensors)
