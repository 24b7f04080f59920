"""Nights with batches in them: judged by the bands of then, and a batch's book with what it went through."""

from pathlib import Path

import pytest

from audit.nights import HOUR_MS, at, lived, shipped_config
from gillhouse.audit.evidence import gather
from gillhouse.audit.exposure import exposure
from gillhouse.audit.figures import figures
from gillhouse.audit.night import Window
from gillhouse.audit.record import record
from gillhouse.audit.text import lines
from gillhouse.core.crops import Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import BatchAct, BatchAction
from gillhouse.core.quantities import Quantity
from gillhouse.records.batch_book import book, books
from gillhouse.records.crops_then import held_for
from gillhouse.store.reader import Reader

BEGIN = at("2026-10-24 18:00")
"""The night in which Rome's clocks go back (IANA time zone data): the ramp must not care."""
HOURS = 13.0


def air(sensor: str, hour: float) -> float | None:
    """The tent holds 92.1 % and 18.1 C, the room 80.1 % and 15.1 C; the last digit trembles."""
    tremble = 0.1 if int(hour * 120) % 2 else 0.0
    held = {"tent-rh": 92.0, "tent-temp": 18.0, "tent-co2": 700.0, "room-rh": 80.0, "room-temp": 15.0}
    return held[sensor] + tremble if sensor in held else None


def said(act: BatchAct, batch: str = "LM-1", **more: object) -> BatchAction:
    return BatchAction(act, batch, "ana", **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Reader:
    lion = {"species": "lions-mane", "stage": Stage.FRUITING, "kg": 40.0, "space": "tent", "rack": "rack 1"}
    actions = (
        (1.0, said(BatchAct.ADD, **lion)),
        (3.0, said(BatchAct.STAGE, stage=Stage.SPAWN_RUN)),
        (7.0, said(BatchAct.MOVE, space="room")),
        (9.0, said(BatchAct.STAGE, stage=Stage.FRUITING)),
        (11.0, said(BatchAct.END, text="spent")),
        (11.5, said(BatchAct.ADD, **{**lion, "kg": 20.0})),
    )
    path = tmp_path_factory.mktemp("batches") / "journal.db"
    return lived(path, shipped_config(), BEGIN, HOURS, air, actions)  # type: ignore[arg-type]


def test_what_was_held_then_is_what_the_core_held(night: Reader) -> None:
    """The same inputs through a core, whose own word is compared at every input of the night."""
    config = shipped_config()
    segments = list(night.segments())
    span = (BEGIN, BEGIN + round(HOURS * HOUR_MS))
    stretches = held_for(night, segments, span, lambda _: config.farm)
    assert [one.to_ms for one in stretches[:-1]] == [one.from_ms for one in stretches[1:]]
    assert (stretches[0].from_ms, stretches[-1].to_ms) == span
    assert len(stretches) > 20  # bands that moved by quarters of an hour
    core, looked = Farm(config.farm), 0
    for seq, now, item in night.inputs_between(0, None):
        core.handle(seq, now, item)
        held = next((one for one in stretches if one.from_ms <= now.wall_ms < one.to_ms), None)
        if held is None or now.wall_ms % (15 * 60_000) < 60_000:
            continue  # at a step the core looks up to its next input later
        space = core.status(now)["spaces"]
        for name in ("tent", "room"):
            band = held.farm.spaces[name].bands[Quantity.HUMIDITY]
            shown = space[name]["quantities"]["humidity"]  # type: ignore[index]
            assert (shown["low"], shown["high"]) == (band.low, band.high), now
            looked += 1
    assert looked > 5000


def test_the_night_is_judged_by_the_bands_of_then(night: Reader) -> None:
    config = shipped_config()
    window = Window(BEGIN, BEGIN + round(HOURS * HOUR_MS), config.farm.zone)
    tent = next(one for one in figures(gather(night, window, window.to_ms)).spaces if one.space.id == "tent")
    limits = tent.quantities[Quantity.HUMIDITY].limits
    wish = config.farm.species["lions-mane"].stages
    assert (limits[0].low, limits[0].high) == (
        wish[Stage.FRUITING].humidity.low,
        wish[Stage.FRUITING].humidity.high,
    )
    run = (wish[Stage.SPAWN_RUN].humidity.low, wish[Stage.SPAWN_RUN].humidity.high)
    lows = [limit.low for limit in limits]
    assert len(set(lows)) > 5
    assert min(low for low in lows if low is not None) >= min(x for x in (run[0], limits[0].low) if x)


def test_the_book_says_where_it_stood_and_at_which_stage(night: Reader) -> None:
    first, second = books(night)
    assert [(p.space, p.rack, p.from_ms, p.to_ms) for p in first.places] == [
        ("tent", "rack 1", BEGIN + 1 * HOUR_MS, BEGIN + 7 * HOUR_MS),
        ("room", "", BEGIN + 7 * HOUR_MS, BEGIN + 11 * HOUR_MS),
    ]
    assert [(s.stage, (s.from_ms - BEGIN) / HOUR_MS) for s in first.stages] == [
        (Stage.FRUITING, 1.0),
        (Stage.SPAWN_RUN, 3.0),
        (Stage.FRUITING, 9.0),
    ]
    assert first.ended_ms == BEGIN + 11 * HOUR_MS
    assert (second.kg, second.ended_ms) == (20.0, None)
    latest = book(night, "LM-1")
    assert latest is not None
    assert latest.kg == 20.0
    assert book(night, "nobody") is None


def test_exposure_follows_the_batch_by_the_figures_of_its_stage(night: Reader) -> None:
    """Two hours of fruiting in the tent, four of spawn run there, two in the room, two of fruiting there; the
    air never changed, so every hour is wholly inside, below or above what the stage wants."""
    wish = shipped_config().farm.species["lions-mane"].stages
    found = exposure(night, books(night)[0], BEGIN + round(HOURS * HOUR_MS))
    assert [(one.space, one.stage, (one.to_ms - one.from_ms) / HOUR_MS) for one in found] == [
        ("tent", Stage.FRUITING, 2.0),
        ("tent", Stage.SPAWN_RUN, 4.0),
        ("room", Stage.SPAWN_RUN, 2.0),
        ("room", Stage.FRUITING, 2.0),
    ]
    for one in found:
        spent = one.quantities[Quantity.HUMIDITY]
        value, band = (92.05, 80.05)[one.space == "room"], wish[one.stage].humidity
        below = band.low is not None and value < band.low
        above = band.high is not None and value > band.high
        lasted = one.to_ms - one.from_ms
        assert spent.below_ms == (lasted if below else 0)
        assert spent.above_ms == (lasted if above else 0)
        assert spent.inside_ms + spent.below_ms + spent.above_ms + spent.unknown_ms == lasted
        assert spent.unknown_ms < 60_000
        assert spent.least == pytest.approx(value, abs=0.06)


def test_what_comes_up_is_told_some_days_before_and_until_it_is_done(tmp_path: Path) -> None:
    """Lion's mane fruits for some days (its species file): a batch that began long ago is due; one that
    began now is not told of; one that was said yes to for tomorrow is."""
    lion = {"species": "lions-mane", "stage": Stage.FRUITING, "kg": 40.0, "space": "tent"}
    old, tomorrow = BEGIN - 60 * 24 * HOUR_MS, BEGIN + 24 * HOUR_MS
    actions = (
        (1.0, said(BatchAct.ADD, "OLD-1", at_ms=old, **lion)),
        (1.1, said(BatchAct.ADD, "NEW-1", **{**lion, "stage": Stage.SPAWN_RUN})),
        (1.2, said(BatchAct.ADD, "SET-1", **{**lion, "space": "room"})),
        (1.3, said(BatchAct.STAGE, "SET-1", stage=Stage.REST, at_ms=tomorrow)),
    )
    path = tmp_path / "journal.db"
    reader = lived(path, shipped_config(), BEGIN, 2.0, air, actions)  # type: ignore[arg-type]
    window = Window(BEGIN, BEGIN + 2 * HOUR_MS, shipped_config().farm.zone)
    night = figures(gather(reader, window, window.to_ms))
    assert [(one.batch, one.next, one.planned) for one in night.coming] == [
        ("OLD-1", Stage.REST, False),
        ("SET-1", Stage.REST, True),
    ]
    line = next(line for line in lines(night) if line.startswith("COMING UP"))
    assert "OLD-1 in Tent: rest is usual since" in line
    assert "SET-1 in Room: rest begins Sun 25 Oct" in line
    assert record(night)["coming"][1]["from"] == "2026-10-25T17:00:00+01:00"
    assert len(lines(night)) <= 12


def test_co2_that_nothing_measured_is_unknown_not_good(night: Reader) -> None:
    """The room's CO2 sensor said nothing all night."""
    found = exposure(night, books(night)[0], BEGIN + round(HOURS * HOUR_MS))
    room = [one for one in found if one.space == "room"]
    assert all(one.quantities[Quantity.CO2].unknown_ms == one.to_ms - one.from_ms for one in room)


def test_a_batch_that_still_stands_is_counted_up_to_now(night: Reader, tmp_path: Path) -> None:
    (only,) = exposure(night, books(night)[1], BEGIN + 12 * HOUR_MS)
    assert only.to_ms - only.from_ms == HOUR_MS // 2
