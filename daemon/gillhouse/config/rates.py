"""The section `rates` of farm.yaml: how fast a board, and a user of this machine, may speak."""

from typing import Annotated

from pydantic import Field, Strict

from gillhouse.config.fields import Count, Group
from gillhouse.core.edges import RateSettings

PerSecond = Annotated[int, Strict(), Field(ge=0, le=10_000)]
"""0: no limit."""
Burst = Annotated[Count, Field(le=100_000)]


class RatesGroup(Group):
    board_per_s: PerSecond = 50
    board_burst: Burst = 1_000
    local_per_s: PerSecond = 50
    local_burst: Burst = 1_000


def rates(given: RatesGroup) -> RateSettings:
    return RateSettings(given.board_per_s, given.board_burst, given.local_per_s, given.local_burst)
