"""The crop as batches: what stands where, at which stage since when, and what comes next.

Here: what is remembered of batches, and what follows from it and the species' days. Not here: what a batch
makes of a space's bands (`in_force`), what a person may do to one (`batch_acts`). A batch that has ended is
forgotten here; its book is kept in the journal.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gillhouse.core.cold_blocks import ColdWatch
from gillhouse.core.crops import Species, Stage
from gillhouse.core.ramps import Ramp

DAY_MS = 86_400_000


@dataclass(slots=True)
class Planned:
    """A stage the grower has said yes to, for a moment still to come."""

    stage: Stage
    at_wall_ms: int
    who: str


@dataclass(slots=True)
class Batch:
    """Blocks, bags or buckets that were made together and are kept together."""

    id: str
    species: str
    stage: Stage
    kg: float
    """Wet blocks."""
    space: str
    rack: str
    since_wall_ms: int
    """When the stage began."""
    here_since_wall_ms: int
    """When it came to where it is."""
    flush: int = 1
    """Of the stage it is in or goes towards."""
    priority: bool = False
    """It wins where the crops of one space want what cannot be had together."""
    planned: Planned | None = None
    ask_from_wall_ms: int | None = None
    """The grower said 'not yet' to the proposed stage: asked again from here."""
    asked: bool = False
    """The proposed stage has been told of."""


@dataclass(slots=True)
class CropState:
    """All batches that stand somewhere, by id, in the order they were added."""

    batches: dict[str, Batch] = field(default_factory=dict)
    ramps: dict[str, Ramp] = field(default_factory=dict)
    """By space: bands under way."""
    cold: dict[str, ColdWatch] = field(default_factory=dict)
    """By batch: blocks that came in cold and may be wet with dew."""

    def in_space(self, space: str) -> list[Batch]:
        return [batch for batch in self.batches.values() if batch.space == space]


@dataclass(frozen=True, slots=True)
class Proposal:
    """The stage that would come next. The grower looks at the crop and decides."""

    batch: str
    stage: Stage
    from_wall_ms: int
    """The earliest usual date (or when to ask again)..."""
    to_wall_ms: int
    """... and the latest."""


_AFTER: dict[Stage, tuple[Stage, ...]] = {
    # The first of these that the species has. After the rest the blocks pin again: the next flush.
    Stage.SPAWN_RUN: (Stage.PINNING, Stage.FRUITING),
    Stage.PINNING: (Stage.FRUITING,),
    Stage.FRUITING: (Stage.REST, Stage.PINNING),
    Stage.REST: (Stage.PINNING, Stage.FRUITING),
}


def next_stage(species: Species, stage: Stage) -> Stage | None:
    """The stage that usually follows; None where the species has no other."""
    return next((after for after in _AFTER[stage] if after in species.stages), None)


def flush_at(batch: Batch, stage: Stage) -> int:
    """The flush a batch is in when `stage` begins: pins after fruiting or rest are the next one's."""
    again = stage in (Stage.PINNING, Stage.FRUITING) and batch.stage is Stage.REST
    return batch.flush + (again or (batch.stage is Stage.FRUITING and stage is Stage.PINNING))


def day_of_stage(batch: Batch, wall_ms: int) -> int:
    """1 on the first day; by full days since the stage began, so that summer time does not matter."""
    return max(wall_ms - batch.since_wall_ms, 0) // DAY_MS + 1


def proposal(species: Mapping[str, Species], batch: Batch) -> Proposal | None:
    """What comes next for a batch by its species' usual days; None where nothing is known or is planned."""
    kind = species.get(batch.species)
    profile = kind.stages.get(batch.stage) if kind else None
    if kind is None or profile is None or profile.days is None or batch.planned is not None:
        return None
    after = next_stage(kind, batch.stage)
    if after is None:
        return None
    least, most = (batch.since_wall_ms + round(days * DAY_MS) for days in profile.days)
    begin = least if batch.ask_from_wall_ms is None else max(least, batch.ask_from_wall_ms)
    return Proposal(batch.id, after, begin, max(most, begin))
