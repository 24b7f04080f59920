"""What is known of an insect that comes into mushrooms: its stages, how fast they pass, what stops it.

Here: plain values, as `config/pests/*.yaml` fill them; every figure with its source. Not here: reading files
(`config.pests_file`), what follows for a batch (`pest_clock`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from gillhouse.ahead.rates import Pace, RateLine


class PestStage(StrEnum):
    EGG = "egg"
    LARVA = "larva"
    PUPA = "pupa"
    EGG_TO_ADULT = "egg to adult"
    """Where no source tells the stages apart."""
    CYCLE = "cycle"
    """Of larvae that breed without adults: from a larva to its daughters."""
    ADULT = "adult"


@dataclass(frozen=True, slots=True)
class StagePace:
    stage: PestStage
    pace: Pace
    line: RateLine | None = None
    """A published straight line beside a table: shown beside it, never used in its place."""


class AdviceKind(StrEnum):
    """What can be done, in the order it is told."""

    MESH = "mesh"
    SEALING = "sealing"
    HYGIENE = "hygiene"
    SHORTER_CROP = "shorter crop"
    TRAP = "trap"
    TREATMENT = "treatment"


@dataclass(frozen=True, slots=True)
class Advice:
    kind: AdviceKind
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Threshold:
    """A published count from which it costs crop. There is none for adults on a sticky card."""

    what: str
    """What is counted, and in what."""
    count: float
    most_count: float
    source: str


@dataclass(frozen=True, slots=True)
class Life:
    """How long adults live, and so lay."""

    pace: Pace
    source: str


@dataclass(frozen=True, slots=True)
class Pest:
    id: str
    name: str
    """In a grower's words, plural."""
    latin: str
    young: str
    """What comes out at the end of a generation: `flies`, `larvae`."""
    stages: Sequence[StagePace] = ()
    """In order; none where nothing is sourced: then the log alone speaks."""
    window_share: float = 0.0
    """So much earlier or later than reckoned a stage may end, as a share of its length."""
    window_source: str = ""
    life: Life | None = None
    crops: Sequence[str] = ()
    """Ids of the species it is shown for without being asked; none: all."""
    note: str = ""
    """What must be known when reading its windows."""
    advice: Sequence[Advice] = ()
    thresholds: Sequence[Threshold] = ()

    @property
    def is_sourced(self) -> bool:
        return bool(self.stages)
