"""What the batches will ask for soon: stages that are due, or usual within days, or said yes to.

Here: from the batches as they stood at the end of a night to a short list. Not here: deciding anything.
"""

from collections.abc import Callable, Sequence

from gillhouse.audit.night import Coming, Window
from gillhouse.core.batches import Batch, proposal
from gillhouse.core.settings import FarmSettings
from gillhouse.records.crops_then import crops_at
from gillhouse.store.reader import Reader
from gillhouse.store.records import Segment

AHEAD_MS = 3 * 86_400_000
"""Told of so long before. Common practice, no source: time to get blocks, people and crates ready."""


def coming_up(
    reader: Reader, segments: Sequence[Segment], window: Window, farm_of: Callable[[str], FarmSettings]
) -> tuple[Coming, ...]:
    """Everything due within days of the window's end, first come first."""
    crops = crops_at(reader, segments, window.to_ms, farm_of)
    if not crops.batches:
        return ()
    farm = farm_of(segments[-1].digest)
    found = [one for batch in crops.batches.values() if (one := _one(farm, batch)) is not None]
    soon = [one for one in found if one.from_ms <= window.to_ms + AHEAD_MS]
    return tuple(sorted(soon, key=lambda one: (one.from_ms, one.batch)))


def _one(farm: FarmSettings, batch: Batch) -> Coming | None:
    planned, proposed = batch.planned, proposal(farm.species, batch)
    if planned is not None:
        return Coming(batch.id, batch.space, batch.stage, planned.stage, planned.at_wall_ms, True)
    if proposed is None:
        return None
    return Coming(batch.id, batch.space, batch.stage, proposed.stage, proposed.from_wall_ms, False)
