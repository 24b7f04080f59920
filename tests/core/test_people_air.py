"""Air for people goes before crop, rest and override, in every space they can enter.

Limit: 5,000 ppm, the 8-hour average of OSHA, NIOSH, ACGIH and of HSE EH40/2005 (OSHA chemical sampling
information CH_225400).
"""

from gillhouse.config import load_files
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Input, Link, LinkChange, OperatorAction, Reading, Started
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason

FARM = """\
farm: {name: Test farm, zone: UTC, advise_only: no}
spaces:
  tent: {name: Tent, kind: tent, walk_in: WALK_IN, volume_m3: 9,
         crop: {species: lions-mane, stage: fruiting, kg: 40}}
sensors:
  tent-co2: {space: tent, quantity: co2, unit: ppm, topic: t/co2, format: number, every: 10 s}
relays:
  tent-fan: {space: tent, role: fan, driver: memory, air_m3_per_h: 150, least_off: 10 min}
"""
START = Instant(1_760_000_000_000, 0)


class Tent:
    """One tent, one CO2 sensor, one fan."""

    def __init__(self, walk_in: str) -> None:
        self.farm = Farm(load_files({"farm.yaml": FARM.replace("WALK_IN", walk_in)}).farm)
        self.now, self.seq = START, 0
        self.told: list[Command] = []
        self.give(Started("test", "", True))
        self.give(LinkChange(Link.BROKER, True))

    def give(self, item: Input, after_ms: int = 0) -> None:
        self.now, self.seq = self.now.later(after_ms), self.seq + 1
        self.told += self.farm.handle(self.seq, self.now, item).commands

    def co2(self, ppm: float) -> None:
        self.now = self.now.later(10_000)
        self.give(Reading("tent-co2", ppm, self.now.wall_ms))

    def ons(self) -> list[Command]:
        return [command for command in self.told if command.on]


def _climb(tent: Tent) -> None:
    for ppm in (700.0, 1_300.0, 1_900.0, 2_500.0, 3_100.0, 3_700.0, 4_300.0, 4_900.0, 5_500.0, 6_000.0):
        tent.co2(ppm)


def test_no_override_and_no_rest_keeps_the_fan_off_at_the_limit_for_people() -> None:
    tent = Tent("yes")
    tent.give(OperatorAction(Act.OVERRIDE, "tent-fan", "ana", "too loud", on=False, for_ms=3_600_000))
    _climb(tent)
    first = tent.ons()[0]
    assert (first.authority, first.reason) == (Authority.EMERGENCY, Reason.CO2_PEOPLE)
    assert first.facts["value"] == 5_500.0 and first.facts["limit"] == 5_000.0


def test_it_is_held_until_the_air_is_better_and_then_the_override_stands_again() -> None:
    tent = Tent("yes")
    tent.give(OperatorAction(Act.OVERRIDE, "tent-fan", "ana", "too loud", on=False, for_ms=3_600_000))
    _climb(tent)
    for ppm in (5_800.0, 5_400.0, 5_100.0, 4_700.0):
        tent.co2(ppm)
    assert not tent.told[-1].on


def test_where_nobody_can_be_inside_the_override_holds() -> None:
    tent = Tent("no")
    tent.give(OperatorAction(Act.OVERRIDE, "tent-fan", "ana", "too loud", on=False, for_ms=3_600_000))
    _climb(tent)
    assert tent.ons() == []
