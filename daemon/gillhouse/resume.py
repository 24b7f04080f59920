"""How the last run left things: the core as it was, from its last kept state and what came after.

Used at the start of the daemon, and by commands that only record while none is running.
"""

from gillhouse.core.farm import Farm
from gillhouse.core.settings import FarmSettings
from gillhouse.store.reader import Reader

CHECKPOINT = "checkpoint"
"""Name of the kept state among the store's facts."""
LAST = 1 << 62


def farm_as_left(reader: Reader, settings: FarmSettings) -> Farm:
    """The core with alarms, counts and standings as at the last committed input.

    A kept state made under another config is carried over for whatever still has the same name.
    """
    kept = reader.meta(CHECKPOINT)
    if kept is None:
        return Farm(settings)
    farm = Farm.restore(settings, kept["snapshot"])
    if kept["config"] != settings.digest:
        farm.resettle(settings)
        return farm
    for seq, now, item in reader.inputs_between(kept["seq"], LAST):
        farm.handle(seq, now, item)
    return farm
