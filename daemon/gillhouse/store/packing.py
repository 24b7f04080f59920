"""How a reading's particulars fit into the few columns of its row.

A column costs a byte in every row even when it is empty, so quality, mark, delivery, own time and board
sequence number share one number, `fate`, which is 0 (no bytes at all) for the plain good live reading. The
view `readings_named` takes it apart again in SQL. Bits, lowest first:

    2 quality | 1 own_time | 6 mark code | 6 delivery code | the rest: board_seq + 1, 0 for none

Codes are given as words first turn up and kept in the table `words`; 0 is no mark, and live. `id` is
`ts * SERIES_SPAN + series`: the key (ts, series) as one number, so that rows lie in order of time.
"""

from collections.abc import Mapping

from gillhouse.core.inputs import Delivery
from gillhouse.core.readings import Mark, Quality
from gillhouse.store.records import ReadingAt

SERIES_BITS = 14
SERIES_SPAN = 1 << SERIES_BITS
MOST_SERIES = SERIES_SPAN - 1
MOST_WORDS = 63

ORDINARY_DELAY_MS = 600_000
"""A reading that arrived within this of its `ts` is found by time; the others through `readings_odd`."""


def pack(quality: int, own_time: bool, mark: int, delivery: int, board_seq: int | None) -> int:
    """`fate`, from a quality, codes of `words`, and the board's own sequence number."""
    rest = 0 if board_seq is None else board_seq + 1
    return quality | own_time << 2 | mark << 3 | delivery << 9 | rest << 15


def unpack(ts: int, value: float, seq: int, fate: int, words: Mapping[int, str]) -> ReadingAt:
    """A row's reading; `words` is the table of that name, code -> word."""
    if not fate:
        return ReadingAt(ts, value, Quality.GOOD, Mark.NONE, Delivery.LIVE, seq)
    board_seq, own_time = board_part(fate)
    mark, delivery = fate >> 3 & MOST_WORDS, fate >> 9 & MOST_WORDS
    return ReadingAt(
        ts,
        value,
        Quality(fate & 3),
        Mark(words[mark]) if mark else Mark.NONE,
        Delivery(words[delivery]) if delivery else Delivery.LIVE,
        seq,
        own_time=own_time,
        board_seq=board_seq,
    )


def board_part(fate: int) -> tuple[int | None, bool]:
    """What the board itself said of its reading: its sequence number, and whether `ts` is its own time."""
    return (fate >> 15) - 1 if fate >> 15 else None, bool(fate >> 2 & 1)
