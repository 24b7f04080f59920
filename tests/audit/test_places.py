"""Sensors that were carried to another space: each reading speaks for where it was taken."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.nights import HOUR_MS, Book, at, shipped_config
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.night import Window
from gillhouse.audit.places import Move, stood
from gillhouse.config import load_files
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import Quantity
from gillhouse.errors import ConfigError
from gillhouse.records.crops_then import HeldFor
from gillhouse.store import rows

BEGIN = at("2026-10-14 18:00")
DOOR = "{space: room, zone: door, quantity: humidity"
FARM = shipped_config()


def carried(since: str) -> str:
    """The shipped farm with the room's second sensor in the tent since a moment."""
    new = f'{{space: tent, zone: door, since: "{since}", quantity: humidity'
    return FARM.files["farm.yaml"].replace(DOOR, new)


@pytest.mark.parametrize("since", ["2026-10-14 20:00", "2026-10-14 20:30"])
def test_each_space_keeps_what_was_read_in_it(tmp_path: Path, since: str) -> None:
    """Carried at `since`; the file was written at 21:00. One sensor alone speaks: 70 % in the room, then 93 %
    in the tent. The shares are exact to the sensor's minute."""
    moved = load_files({**FARM.files, "farm.yaml": carried(since)})
    book = Book(tmp_path / "journal.db", FARM, BEGIN)
    hours = (at(since) - BEGIN) / HOUR_MS
    book.readings("room-rh-door", BEGIN, 60, [70.0] * round(hours * 60))
    book.readings("room-rh-door", at(since), 60, [93.0] * round((4 - hours) * 60))
    book.add(rows.ConfigRow(moved.digest, at("2026-10-14 21:00"), moved.files))
    change = at("2026-10-14 21:00")
    book.rows.append(
        rows.SegmentRow(book.seq, Instant(change, change - BEGIN), moved.digest, "test", "settings", {})
    )
    reader = book.close()
    night = figures(gather(reader, Window(BEGIN, BEGIN + 4 * HOUR_MS, FARM.farm.zone), BEGIN + 4 * HOUR_MS))
    humidity = {one.space.id: one.quantities[Quantity.HUMIDITY].tally for one in night.spaces}
    assert (humidity["room"].least, humidity["room"].most) == (70.0, 70.0)
    assert (humidity["tent"].least, humidity["tent"].most) == (93.0, 93.0)
    hold_ms = FARM.farm.sensors["room-rh-door"].silent_after_ms
    assert humidity["room"].covered_ms == pytest.approx(hours * HOUR_MS, abs=hold_ms)
    assert humidity["tent"].covered_ms == pytest.approx((4 - hours) * HOUR_MS, abs=hold_ms)
    # the evening before the change, asked for by itself: the newest settings still have the word
    early = Window(BEGIN, at("2026-10-14 20:45"), FARM.farm.zone)
    tent = next(one for one in figures(gather(reader, early, early.to_ms)).spaces if one.space.id == "tent")
    assert tent.quantities[Quantity.HUMIDITY].tally.covered_ms > 0


@given(st.lists(st.sampled_from(["room", "tent"]), min_size=1, max_size=5), st.integers(-10, 60))
def test_a_dated_sensor_is_in_one_place_at_a_time(where: list[str], since: int) -> None:
    def held(place: int, space: str) -> HeldFor:
        text = FARM.farm.sensors["room-rh"]
        from dataclasses import replace

        farm = replace(FARM.farm, sensors={"room-rh": replace(text, space=space)})
        return HeldFor(place * 10, place * 10 + 10, "", farm)

    configs = [held(place, space) for place, space in enumerate(where)]
    move = Move(since, "tent", "middle")
    spans = [stood(configs, move, "room-rh", space) for space in ("room", "tent")]
    for moment in range(len(where) * 10):
        there = [any(begin <= moment < end for begin, end in own) for own in spans]
        assert sum(there) == 1
        assert there[1] or moment < since


def test_a_moment_that_is_none_is_refused_with_its_place() -> None:
    with pytest.raises(ConfigError, match="write 2026-11-20 17:30"):
        load_files({**FARM.files, "farm.yaml": carried("yesterday")})
