"""Invented species and batches for the tests of the core, every figure in sight."""

from dataclasses import replace

from core.farm_parts import WALL_MS, farm, space
from gillhouse.core.batch_acts import Turn, act, advance
from gillhouse.core.batches import CropState
from gillhouse.core.crops import Band, LightWish, Species, Stage, StageProfile
from gillhouse.core.inputs import BatchAct, BatchAction
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings

DAY_MS = 86_400_000


def profile(
    humidity: tuple, temperature: tuple, co2: tuple, days: tuple[float, float] | None, **more: object
) -> StageProfile:
    """Bands as (low, high, target, alarm_low, alarm_high)."""
    base = StageProfile(
        humidity=Band(*humidity, "invented"),
        temperature=Band(*temperature, "invented"),
        co2=Band(*co2, "invented"),
        fresh_air_ach=1.0,
        fresh_air_source="invented",
        light=LightWish(10.0, 300.0, "invented"),
        days=days,
    )
    return replace(base, **more)


RUN = profile(
    (70, 90, None, 60, 98),
    (20, 24, None, 15, 28),
    (None, 5000, None, None, None),
    (14, 21),
    fresh_air_ach=0.0,
    light=LightWish(0.0, None, "invented"),
)
PINNING = profile(
    (90, 95, None, 85, 98), (12, 16, None, 6, 20), (None, 800, None, None, 1000), (4, 7), fresh_air_ach=2.0
)
FRUITING = profile(
    (85, 93, None, 80, 97), (13, 18, None, 8, 22), (None, 900, None, None, 1200), (5, 9), fresh_air_ach=2.0
)
REST = profile((70, 85, None, 60, 95), (18, 22, None, 10, 26), (None, 2500, None, None, 4000), (7, 14))

PALE = Species(
    "pale-cap",
    "pale cap",
    "Inventa pallida",
    {Stage.SPAWN_RUN: RUN, Stage.PINNING: PINNING, Stage.FRUITING: FRUITING, Stage.REST: REST},
)
COLD = Species(
    "cold-cap",
    "cold cap",
    "Inventa frigida",
    {
        Stage.FRUITING: profile(
            (80, 90, None, 75, 96), (5, 9, None, 2, 14), (None, 1500, None, None, 2500), (6, 8)
        )
    },
)


def crop_farm(**more: object) -> FarmSettings:
    """Two rooms, `run` and `fruit`, whose config says pale cap, spawn run and fruiting."""

    def bands(one: StageProfile) -> dict[Quantity, Band]:
        return {Quantity.HUMIDITY: one.humidity, Quantity.TEMPERATURE: one.temperature, Quantity.CO2: one.co2}

    rooms = (
        space("run", species="pale-cap", stage=Stage.SPAWN_RUN, bands=bands(RUN), fresh_air_ach=0.0),
        space("fruit", species="pale-cap", stage=Stage.FRUITING, bands=bands(FRUITING)),
    )
    return farm(*rooms, species={one.id: one for one in (PALE, COLD)}, **more)


class Crops:
    """A crop state on the bench: acts by hand, time by hand, everything told kept."""

    def __init__(self, settings: FarmSettings | None = None) -> None:
        self.settings = settings or crop_farm()
        self.state = CropState()
        self.ms = WALL_MS
        self.told: list = []

    def turn(self) -> Turn:
        return Turn(self.settings, self.state, self.ms, seq=len(self.told))

    def do(self, what: BatchAct, batch: str = "b1", **more: object):
        """Returns the reasons told."""
        turn = self.turn()
        act(turn, BatchAction(what, batch, "ana", **more))
        self.told += turn.events
        return [event.reason for event in turn.events]

    def add(self, batch: str = "b1", where: str = "run", stage: Stage = Stage.SPAWN_RUN, **more: object):
        given = {"species": "pale-cap", "kg": 100.0, **more}
        return self.do(BatchAct.ADD, batch, space=where, stage=stage, **given)

    def wait(self, hours: float):
        """Lets time pass and brings everything due; returns the reasons told."""
        self.ms += round(hours * 3_600_000)
        turn = self.turn()
        advance(turn)
        self.told += turn.events
        return [event.reason for event in turn.events]
