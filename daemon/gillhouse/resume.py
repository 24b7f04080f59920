"""How the last run left things: the core as it was, from its last kept state and what came after.

Used at the start of the daemon, and by commands that only record while none is running.
"""

import logging
import sqlite3
from pathlib import Path

from gillhouse.core.farm import Farm
from gillhouse.core.inputs import BatchAction
from gillhouse.core.instant import Instant
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import StoreError
from gillhouse.store.reader import Reader

CHECKPOINT = "checkpoint"
"""Name of the kept state among the store's facts."""
LAST = 1 << 62
log = logging.getLogger(__name__)


def farm_as_left(reader: Reader, settings: FarmSettings) -> Farm:
    """The core with alarms, counts and standings as at the last committed input.

    A kept state made under another config is carried over for whatever still has the same name. One that this
    version cannot read is not: batches and corrections come from the journal then, all else begins anew.
    """
    kept = reader.meta(CHECKPOINT)
    if kept is None:
        return _told_again(reader, settings)
    try:
        farm = Farm.restore(settings, kept["snapshot"])
    except ValueError as error:
        log.warning(
            "the kept state cannot be read (%s): batches and sensors' corrections are taken from the "
            "journal; alarms, the day's water and overrides begin anew", error,
        )  # fmt: skip
        return _told_again(reader, settings)
    if kept["config"] != settings.digest:
        for seq, now, action in reader.inputs_of(BatchAction, kept["seq"], LAST):
            farm.handle(seq, Instant(now.wall_ms, now.mono_ms), action)  # what a person said is not lost
        farm.resettle(settings)
        return farm
    for seq, now, item in reader.inputs_between(kept["seq"], LAST):
        farm.handle(seq, now, item)
    return farm


def files_in_force(journal: Path) -> dict[str, str]:
    """The config files of the last run, name -> text; empty where none is known or the journal is damaged."""
    try:
        with Reader(journal) as reader:
            kept = reader.meta(CHECKPOINT)
            return (kept and reader.config(kept["config"])) or {}
    except (StoreError, sqlite3.Error):
        return {}


def _told_again(reader: Reader, settings: FarmSettings) -> Farm:
    """A new core, told what is in force until somebody says otherwise. A start follows and sets its clock."""
    farm = Farm(settings)
    for seq, now, item in reader.lasting_inputs():
        farm.handle(seq, Instant(now.wall_ms, 0), item)
    return farm
