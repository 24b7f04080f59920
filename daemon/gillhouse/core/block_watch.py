"""Blocks that came in cold: told at once, followed until they are warm enough.

Here: beginning and ending the watch over a batch's blocks, from the air where they came from and where they
are. Not here: the reckoning (`cold_blocks`); moving a relay: what is told is advice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from gillhouse.core.air import dew_point_c
from gillhouse.core.batch_acts import Turn
from gillhouse.core.cold_blocks import BLOCK_KG, WATCH_MS, ColdWatch, warmed_c, wet_h
from gillhouse.core.inputs import BatchAction
from gillhouse.core.reasons import Reason


@dataclass(frozen=True, slots=True)
class Air:
    """A space's air as it is known now."""

    temperature_c: float
    humidity_pct: float


def come_in(turn: Turn, action: BatchAction, airs: Mapping[str, Air], from_c: float | None) -> None:
    """Begins to watch the blocks an action brought into a space, if dew forms on them there.

    Args:
        airs: of the spaces whose air is known.
        from_c: temperature where they stood before, if that is known.
    """
    start_c = from_c if action.blocks_c is None else action.blocks_c
    for name in turn.moved:
        batch = turn.crops.batches[name]
        air = airs.get(batch.space)
        if start_c is None or air is None:
            continue
        block_kg = BLOCK_KG if action.block_kg is None else action.block_kg
        hours = wet_h(start_c, air.temperature_c, air.humidity_pct, block_kg)
        if hours <= 0.0:
            continue
        turn.crops.cold[name] = ColdWatch(turn.wall_ms, start_c, block_kg, start_c, turn.wall_ms)
        dew_c = dew_point_c(air.temperature_c, air.humidity_pct)
        turn.tell(
            batch,
            Reason.BLOCKS_WET,
            blocks_c=start_c,
            dew_c=round(dew_c, 1),
            block_kg=block_kg,
            hours=round(min(hours, WATCH_MS / 3_600_000), 1),
        )


def warm_up(turn: Turn, airs: Mapping[str, Air]) -> None:
    """Brings the watched blocks to the turn's moment; ends the watch where they are dry, or after a day."""
    for name, watch in list(turn.crops.cold.items()):
        batch = turn.crops.batches[name]
        air = airs.get(batch.space)
        if air is not None:
            seconds = (turn.wall_ms - watch.reckoned_wall_ms) / 1000.0
            watch.block_c = warmed_c(watch.block_c, air.temperature_c, seconds, watch.block_kg)
        watch.reckoned_wall_ms = turn.wall_ms
        warm = air is not None and not _wet(watch, air)
        if warm or turn.wall_ms - watch.begun_wall_ms >= WATCH_MS:
            del turn.crops.cold[name]
            turn.tell(batch, Reason.BLOCKS_DRY, blocks_c=round(watch.block_c, 1))


def _wet(watch: ColdWatch, air: Air) -> bool:
    return wet_h(watch.block_c, air.temperature_c, air.humidity_pct, watch.block_kg) > 0.0
