"""What the spaces were held for at any time gone by: the batches of then under the config of then.

Here: the crop state of each stretch of the journal, brought on by the very functions the core uses. Not here:
judging the air by it. Reads only.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from gillhouse.core.batch_acts import Turn, act, advance, next_change_ms
from gillhouse.core.batches import CropState
from gillhouse.core.in_force import in_force
from gillhouse.core.inputs import BatchAction
from gillhouse.core.settings import FarmSettings
from gillhouse.core.snapshot import from_plain
from gillhouse.errors import StoreError
from gillhouse.store.reader import Reader
from gillhouse.store.records import Segment


@dataclass(frozen=True, slots=True)
class HeldFor:
    """A time in which the farm's figures did not change."""

    from_ms: int
    to_ms: int
    digest: str
    """Of the config."""
    farm: FarmSettings
    """As in force: every space with its bands of this time."""


def held_for(
    reader: Reader,
    segments: Sequence[Segment],
    span: tuple[int, int],
    farm_of: Callable[[str], FarmSettings],
) -> list[HeldFor]:
    """The farm's figures in force through a span of time, in order and without holes.

    Before the journal begins the first figures count. Where the clock was set back, the later stretch of the
    journal has the word.

    Args:
        segments: the one that holds the span's begin, and those begun within it.
        span: wall ms, from and to.
        farm_of: the settings of a config by its digest.
    """
    from_ms, to_ms = span
    found: list[HeldFor] = []
    for place, segment in enumerate(segments):
        later = segments[place + 1].now.wall_ms if place + 1 < len(segments) else to_ms
        farm = farm_of(segment.digest)
        for part in _through(reader, segment, min(later, to_ms), (farm, _crops_at(reader, segment))):
            begin = found[-1].to_ms if found else from_ms
            if part.to_ms > begin:
                _join(found, HeldFor(begin, part.to_ms, part.digest, part.farm))
    if segments and not found:  # the journal begins later than what came late to it
        first = segments[0]
        farm = in_force(farm_of(first.digest), _crops_at(reader, first))
        found.append(HeldFor(from_ms, to_ms, first.digest, farm))
    if found and found[-1].to_ms < to_ms:
        last = found.pop()
        found.append(HeldFor(last.from_ms, to_ms, last.digest, last.farm))
    return found


def crops_at(
    reader: Reader, segments: Sequence[Segment], at_ms: int, farm_of: Callable[[str], FarmSettings]
) -> CropState:
    """The batches as they stood at a wall time. Arguments as for `held_for`."""
    segment = next((one for one in reversed(segments) if one.now.wall_ms <= at_ms), None)
    if segment is None:
        return CropState()
    crops = _crops_at(reader, segment)
    for _ in _through(reader, segment, at_ms, (farm_of(segment.digest), crops)):
        pass
    return crops


def _through(
    reader: Reader, segment: Segment, end_ms: int, standing: tuple[FarmSettings, CropState]
) -> Iterator[HeldFor]:
    """One stretch of the journal, cut wherever a band moved. The crops are brought on meanwhile."""
    farm, crops = standing
    now_ms = segment.now.wall_ms
    actions = reader.inputs_of(BatchAction, segment.first_seq, segment.last_seq)
    action = next(actions, None)
    while now_ms < end_ms:
        moments = [end_ms, next_change_ms(farm, crops), None if action is None else action[1].wall_ms]
        until_ms = max(min(at for at in moments if at is not None), now_ms)
        if until_ms > now_ms:
            yield HeldFor(now_ms, until_ms, segment.digest, in_force(farm, crops))
        now_ms = until_ms
        if action is not None and action[1].wall_ms <= now_ms:
            act(Turn(farm, crops, now_ms, action[0]), action[2])
            action = next(actions, None)
        advance(Turn(farm, crops, now_ms, 0))
        for watch in crops.cold.values():
            watch.reckoned_wall_ms = now_ms


def _crops_at(reader: Reader, segment: Segment) -> CropState:
    try:
        plain = reader.state_at(segment).get("crops")
    except StoreError:  # too old to be kept: nothing is known of batches then
        plain = None
    return CropState() if plain is None else from_plain(CropState, plain)


def _join(found: list[HeldFor], part: HeldFor) -> None:
    """Adds a part, or lengthens the last one if nothing changed between them."""
    last = found[-1] if found else None
    if last is not None and last.digest == part.digest and last.farm == part.farm:
        found[-1] = HeldFor(last.from_ms, part.to_ms, last.digest, last.farm)
    else:
        found.append(part)
