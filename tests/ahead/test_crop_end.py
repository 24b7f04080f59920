"""The usual end of a batch, by a species with invented days."""

from dataclasses import replace

from gillhouse.ahead.crop_end import CropEnd, crop_end
from gillhouse.config import load_files
from gillhouse.core.batches import DAY_MS, Batch
from gillhouse.core.crops import Species, Stage, Usual

FARM = """\
farm: {name: Test farm, zone: Europe/Rome}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: grey-oyster, stage: fruiting, kg: 40}}
"""
DAYS = {
    Stage.SPAWN_RUN: (10.0, 14.0),
    Stage.PINNING: (3.0, 5.0),
    Stage.FRUITING: (4.0, 7.0),
    Stage.REST: (7.0, 10.0),
}


def species(flushes: Usual | None = None) -> Species:
    shipped = load_files({"farm.yaml": FARM}).species["grey-oyster"]
    stages = {stage: replace(shipped.stages[stage], days=days) for stage, days in DAYS.items()}
    return replace(shipped, stages=stages, flushes=flushes or Usual(2, 3, "invented"))


def batch(stage: Stage, flush: int = 1) -> Batch:
    return Batch("B1", "grey-oyster", stage, 40.0, "tent", "", 100 * DAY_MS, 100 * DAY_MS, flush=flush)


def test_from_the_spawn_run_on() -> None:
    """Two flushes, shortest: 10 + 3 + 4 + 7 + 3 + 4 = 31; three, longest: 14 + 3 x 12 + 2 x 10 = 70."""
    found = crop_end(batch(Stage.SPAWN_RUN), species())
    assert found == CropEnd(131 * DAY_MS, 170 * DAY_MS, (2, 3))


def test_within_the_last_flush_nothing_follows() -> None:
    found = crop_end(batch(Stage.FRUITING, 3), species())
    assert found == CropEnd(104 * DAY_MS, 107 * DAY_MS, (2, 3))


def test_what_is_not_known_has_no_end() -> None:
    kind = species()
    assert crop_end(batch(Stage.PINNING), replace(kind, flushes=None)) is None
    bare = {**kind.stages, Stage.FRUITING: replace(kind.stages[Stage.FRUITING], days=None)}
    assert crop_end(batch(Stage.PINNING), replace(kind, stages=bare)) is None
    assert (
        crop_end(batch(Stage.REST), replace(kind, stages={Stage.PINNING: kind.stages[Stage.PINNING]})) is None
    )
