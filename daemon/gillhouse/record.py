"""Recording while no daemon runs: through the same core into the same store, under the store's lock.

For what a person only writes down. Nothing here reaches a relay or a channel.
"""

from pathlib import Path
from typing import Any

from gillhouse import __version__
from gillhouse.clock import Clock
from gillhouse.config import Config, load_files
from gillhouse.core.inputs import Input
from gillhouse.core.outputs import Outcome
from gillhouse.errors import StoreError
from gillhouse.resume import CHECKPOINT, farm_as_left
from gillhouse.store.reader import Reader
from gillhouse.store.rows import AlarmRow, EventRow, InputRow, MetaRow, SegmentRow
from gillhouse.store.writer import Writer


def status_as_left(journal: Path, clock: Clock) -> dict[str, Any]:
    """What every space was doing when the daemon was last there (see `Farm.status`).

    Raises:
        StoreError: there is no store, or no farm in it.
    """
    with Reader(journal) as reader:
        return farm_as_left(reader, config_of(reader, journal).farm).status(clock.now())


def record_only(journal: Path, action: Input, clock: Clock) -> Outcome:
    """Writes down what a person did. Returns what came of it.

    Raises:
        StoreError: there is no store, or a daemon holds it.
    """
    with Reader(journal) as reader:
        config = config_of(reader, journal)
        farm = farm_as_left(reader, config.farm)
    farm.tells = False
    writer = Writer(journal, clock, config.store, lambda _: None, lambda _ok, _why: None)
    writer.start()
    now, seq = clock.now(), writer.next_seq
    writer.put(SegmentRow(seq, now, config.digest, __version__, "recorded by hand", farm.snapshot()))
    outcome = farm.handle(seq, now, action)
    writer.put(
        InputRow(seq, now, action),
        *(EventRow(seq, now.wall_ms, event) for event in outcome.events),
        *(AlarmRow(seq, now.wall_ms, notice) for notice in outcome.notices),
        MetaRow(CHECKPOINT, {"seq": seq + 1, "config": config.digest, "snapshot": farm.snapshot()}),
    )
    if not writer.close():
        raise StoreError(f"{journal} could not be written: is the disk full?")
    return outcome


def config_of(reader: Reader, journal: Path) -> Config:
    """The config a journal says was in force last. Raises StoreError where it holds none."""
    segment = reader.newest_segment()
    files = reader.config(segment.digest) if segment else None
    if files is None:
        raise StoreError(f"{journal} holds no farm yet: start `gillhouse run` once")
    return load_files(files)
