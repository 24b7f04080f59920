"""When a batch is likely to be done: by the stages and flushes usual for its species.

Here: a walk through the stages still to come. Not here: what a grower plans otherwise (a day given by hand
leads), or whether the next flush is worth it.
"""

from dataclasses import dataclass

from gillhouse.core.batches import DAY_MS, Batch, next_stage
from gillhouse.core.crops import Species, Stage


@dataclass(frozen=True, slots=True)
class CropEnd:
    """From when to when the last picking is usually over."""

    from_ms: int
    to_ms: int
    flushes: tuple[int, int]
    """How many were reckoned with, at least and at most."""


def crop_end(batch: Batch, kind: Species) -> CropEnd | None:
    """The usual end of a batch; None where its species has no days or flushes to go by."""
    if kind.flushes is None:
        return None
    least, most = round(kind.flushes.least), round(kind.flushes.most)
    early, late = _end_ms(batch, kind, least, 0), _end_ms(batch, kind, most, 1)
    return None if early is None or late is None else CropEnd(early, late, (least, most))


def _end_ms(batch: Batch, kind: Species, flushes: int, side: int) -> int | None:
    """The end of the last flush; `side` 0 takes the fewest usual days of every stage, 1 the most."""
    at, stage, flush = batch.since_wall_ms, batch.stage, batch.flush
    for _ in range(100):  # 4 stages a flush: no species has so many
        profile = kind.stages.get(stage)
        if profile is None or profile.days is None:
            return None
        at += round(profile.days[side] * DAY_MS)
        if stage is Stage.FRUITING and flush >= flushes:
            return at
        after = next_stage(kind, stage)
        if after is None:
            return at
        flush += stage is Stage.REST or (stage is Stage.FRUITING and after is Stage.PINNING)
        stage = after
    return None
