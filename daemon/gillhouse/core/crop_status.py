"""A space's batches and where its bands are going, as plain values for `now` and the page. Reads only."""

from gillhouse.core.batches import Batch, CropState, day_of_stage, proposal
from gillhouse.core.in_force import way_ms
from gillhouse.core.settings import FarmSettings


def batches(settings: FarmSettings, crops: CropState, space: str, wall_ms: int) -> list[dict[str, object]]:
    """Every batch of a space. Keys are stable."""
    return [_batch(settings, crops, batch, wall_ms) for batch in crops.in_space(space)]


def _batch(settings: FarmSettings, crops: CropState, batch: Batch, wall_ms: int) -> dict[str, object]:
    proposed = proposal(settings.species, batch)
    cold = crops.cold.get(batch.id)
    return {
        "batch": batch.id,
        "species": batch.species,
        "stage": batch.stage.value,
        "flush": batch.flush,
        "day": day_of_stage(batch, wall_ms),
        "since_ms": batch.since_wall_ms,
        "kg": batch.kg,
        "rack": batch.rack,
        "priority": batch.priority,
        "planned": None
        if batch.planned is None
        else {
            "stage": batch.planned.stage.value,
            "at_ms": batch.planned.at_wall_ms,
            "who": batch.planned.who,
        },
        "next": None
        if proposed is None
        else {
            "stage": proposed.stage.value,
            "from_ms": proposed.from_wall_ms,
            "to_ms": proposed.to_wall_ms,
            "due": proposed.from_wall_ms <= wall_ms,
        },
        "blocks_c": None if cold is None else round(cold.block_c, 1),
    }


def moving_h(settings: FarmSettings, crops: CropState, space: str, wall_ms: int) -> float | None:
    """Hours until a space's bands are where its crop wants them; None where they are there."""
    ramp = crops.ramps.get(space)
    if ramp is None:
        return None
    ends_ms = ramp.begun_wall_ms + way_ms(settings, crops, space, ramp)
    return round((ends_ms - wall_ms) / 3_600_000, 2) if ends_ms > wall_ms else None
