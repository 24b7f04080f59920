"""The simulated room under an ordinary day's steering, with the shadow estimate looking on."""

from dataclasses import dataclass, field
from math import cos, pi

from core.measured_room import MeasuredRoom
from gillhouse.core.air import humidity_ratio
from gillhouse.core.quantities import Quantity
from gillhouse.core.shadow import Seen, ShadowPlan, ShadowState, follow
from gillhouse.sim.moist import ratio_of

WALL_MS = 1_760_054_400_000
"""Midnight UTC: days of the score begin with the test's."""
DAY_MS = 86_400_000


@dataclass
class SteeredRoom:
    """Fan from 950 ppm down to 800, and three minutes every half hour; mist under 88 %, in pulses."""

    room: MeasuredRoom
    plan: ShadowPlan
    state: ShadowState = field(default_factory=ShadowState)
    pulse_s: int = 14
    label_l_per_h: float = 24.0
    fan_label: float = 250.0

    def days(self, days: float) -> None:
        room = self.room
        room.heat, room.step_ms = True, 4_000
        end, pulse_to, gap_to = room.ms + int(days * DAY_MS), -1, -1
        while room.ms < end:
            fan, mist = room._on["fan"], room._on["mist"]
            self._look(fan, mist)
            co2 = room.said[Quantity.CO2][-1][1] if room.said[Quantity.CO2] else 700.0
            rh = room.said[Quantity.HUMIDITY][-1][1] if room.said[Quantity.HUMIDITY] else 90.0
            floor = room.ms % 1_800_000 < 180_000
            room.switch("fan", floor or (co2 > 800.0 if fan else co2 > 950.0))
            if rh < 88.0 and room.ms >= gap_to:
                pulse_to = room.ms + self.pulse_s * 1000
                gap_to = pulse_to + 60_000
            room.switch("mist", room.ms < pulse_to)
            room.run((pulse_to - room.ms) / 1000.0 if room.ms < pulse_to else 10.0)
            if room.ms % 3_600_000 < 10_000:
                self._weather()
                for values in room.said.values():
                    del values[:-5]

    def _weather(self) -> None:
        """A day outside: 6 to 14 C."""
        warm = 10.0 + 4.0 * cos((self.room.ms / 3_600_000.0 - 14.0) / 12.0 * pi)
        self.room.outside.temperature_c = warm
        self.room.outside.ratio = ratio_of(warm, 78.0)

    def _look(self, fan: bool, mist: bool) -> None:
        room, said = self.room, self.room.said
        if not all(said.values()):
            return
        rh, celsius = said[Quantity.HUMIDITY][-1][1], said[Quantity.TEMPERATURE][-1][1]
        follow(
            self.plan,
            self.state,
            Seen(
                WALL_MS + room.ms,
                room.ms,
                said[Quantity.CO2][-1][1],
                humidity_ratio(celsius, rh),
                425.0,
                room.outside.ratio,
                self.fan_label if fan else 0.0,
                self.label_l_per_h if mist else 0.0,
            ),
        )
