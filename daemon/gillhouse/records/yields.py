"""What a batch gave: plain sums over its picks. Pure.

Here: biological efficiency, each flush's share, days from pins to the first pick. Not here: reading the log
(`crop_book`), words.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gillhouse.records.crop_notes import CropEntry, Filled, Looked, Lost, Picked

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class FlushYield:
    flush: int
    kg: float
    waste_kg: float
    share_pct: float
    """Of all that was picked so far, waste left out."""
    first_ms: int
    pin_to_pick_d: float | None
    """From pins seen, else from the begin of pinning; None: neither was written down before the pick."""


@dataclass(frozen=True, slots=True)
class Yield:
    kg: float
    waste_kg: float
    flushes: tuple[FlushYield, ...]
    dry_kg: float | None
    efficiency_pct: float | None
    """None where no dry weight is given."""
    lost: int
    blocks: int | None
    lost_pct: float | None


def efficiency_pct(wet_kg: float, dry_kg: float) -> float:
    """Biological efficiency: wet weight picked as a share of the substrate's dry weight.

    The trade's own term, common practice; checked against published figures in the tests.

    Args:
        wet_kg: of all flushes.
        dry_kg: of the substrate at filling, above 0.
    """
    return 100.0 * wet_kg / dry_kg


def share_pct(part_kg: float, whole_kg: float) -> float:
    """What share of the whole a flush gave."""
    return 100.0 * part_kg / whole_kg


def of_batch(entries: Sequence[CropEntry], pinning_ms: Mapping[int, int]) -> Yield:
    """What the entries of one batch come to.

    Args:
        entries: in any order; the last `Filled` counts.
        pinning_ms: when pinning began, by flush.
    """
    ordered = sorted(entries, key=lambda one: one.about.at_ms)
    picks = [one for one in ordered if isinstance(one, Picked)]
    filled = [one for one in ordered if isinstance(one, Filled)]
    kg = sum(one.kg for one in picks)
    dry_kg = filled[-1].dry_kg if filled else None
    blocks = filled[-1].blocks if filled else None
    lost = sum(one.blocks for one in ordered if isinstance(one, Lost))
    return Yield(
        kg,
        sum(one.waste_kg for one in picks),
        tuple(
            _flush(flush, ordered, kg, pinning_ms.get(flush))
            for flush in sorted({one.about.flush for one in picks})
        ),
        dry_kg,
        None if dry_kg is None else efficiency_pct(kg, dry_kg),
        lost,
        blocks,
        None if blocks is None else share_pct(lost, blocks),
    )


def _flush(flush: int, ordered: Sequence[CropEntry], whole_kg: float, begun_ms: int | None) -> FlushYield:
    own = [one for one in ordered if one.about.flush == flush]
    picks = [one for one in own if isinstance(one, Picked)]
    first_ms = picks[0].about.at_ms
    seen = [one.about.at_ms for one in own if isinstance(one, Looked) and "pins" in one.signs]
    from_ms = min((ms for ms in seen if ms <= first_ms), default=begun_ms)
    known = from_ms is not None and from_ms <= first_ms
    kg = sum(one.kg for one in picks)
    return FlushYield(
        flush,
        kg,
        sum(one.waste_kg for one in picks),
        share_pct(kg, whole_kg),
        first_ms,
        (first_ms - from_ms) / DAY_MS if known and from_ms is not None else None,
    )
