"""Air changes from quiet stretches in the journal: the fan off (leakage) or on, nobody inside, the door shut.

Here: which stretches of a space's log are quiet, and telling what `core.decay` makes of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from gillhouse.audit.evidence import config_at
from gillhouse.audit.journal_series import on_spans, relays_of, sensors_of, series, switched_spans
from gillhouse.config import Config
from gillhouse.core.decay import Decay, Span, quiet_decays, quiet_spans
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role
from gillhouse.errors import GillhouseError
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

DAY_MS = 86_400_000
DAYS = 14
"""How far back is looked."""
SETTLE_MS = 10 * 60_000
"""After a door, a person or a fan, the air is given this long to mix and the sensor to follow."""
LEAST_OFF_MS = 45 * 60_000
LEAST_ON_MS = 12 * 60_000
FOLLOWED_MS = 3 * 60_000
"""After the fan goes on, before its effect is read."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the log shows of one space."""

    space: str
    volume_m3: float
    zone: tzinfo
    off: list[Decay]
    on: list[Decay]
    days: float

    def text(self) -> Iterator[str]:
        """For a person."""
        yield f"{self.space}: {self.days:.1f} days of log looked through"
        for name, found in (("fan off", self.off), ("fan on", self.on)):
            for one in found:
                flow = one.changes.value * self.volume_m3
                yield f"  {self._when(one)}, {name}: {_told(one)}, {flow:.3g} m3/h"
        if not self.off and not self.on:
            yield (
                "  no quiet stretch carries a figure: CO2 must fall clearly for three quarters of an hour"
                " with the fan off, or for twelve minutes with it on, nobody inside and the door shut"
            )
        else:
            yield (
                "  A fit interval tells the scatter of the readings alone. Volume and intake air are doubts"
                " on top. Method: concentration decay (after ASTM E741, abstract only), level fitted."
            )

    def record(self) -> dict[str, Any]:
        """As plain JSON."""
        return {
            "space": self.space,
            "days": round(self.days, 3),
            "decays": [
                {
                    "fan_on": fan_on,
                    "from_ms": one.span[0],
                    "to_ms": one.span[1],
                    "air_changes_per_h": one.changes.value,
                    "low": one.changes.low,
                    "high": one.changes.high,
                    "r2": one.r2,
                    "level_ppm": one.intake_ppm,
                    "readings": one.points,
                }
                for fan_on, found in ((False, self.off), (True, self.on))
                for one in found
            ],
        }

    def _when(self, one: Decay) -> str:
        begin, end = (datetime.fromtimestamp(ms / 1000, UTC).astimezone(self.zone) for ms in one.span)
        return f"{begin:%a %d %b %H:%M} to {end:%H:%M}"


def _told(one: Decay) -> str:
    changes = one.changes
    return (
        f"{changes.value:.3g} air changes an hour (fit interval {changes.low:.3g} to {changes.high:.3g}),"
        f" falling towards {one.intake_ppm:.0f} ppm"
    )


def from_log(state: Path, space_id: str) -> Told:
    """Looks through the last two weeks of the journal.

    Raises:
        GillhouseError: no journal, no such space, or no CO2 sensor in it.
    """
    with Reader(state / JOURNAL) as reader:
        newest = reader.newest_ms()
        if newest is None:
            raise GillhouseError("the journal holds no reading yet: let `gillhouse run` listen for a while")
        config = config_at(reader, newest)
        space = config.farm.spaces.get(space_id)
        if space is None:
            raise GillhouseError(f"there is no space {space_id!r}; there are {', '.join(config.farm.spaces)}")
        sensors = sensors_of(config, space_id, Quantity.CO2)
        if not sensors:
            raise GillhouseError(f"{space_id} has no CO2 sensor, so its log shows no decay")
        span = (newest - DAYS * DAY_MS, newest + 1)
        co2 = series(reader, sensors, span)
        if co2:
            span = (co2[0][0], span[1])
        off, on = quiet_parts(reader, config, space_id, span)
        return Told(
            space_id,
            space.volume_m3,
            config.farm.zone,
            quiet_decays(co2, off, None),
            quiet_decays(co2, on, None, LEAST_ON_MS - FOLLOWED_MS),
            (span[1] - span[0]) / DAY_MS,
        )


def quiet_parts(reader: Reader, config: Config, space: str, span: Span) -> tuple[list[Span], list[Span]]:
    """Quiet with the fan off, quiet with the fan on."""
    fans = on_spans(reader, relays_of(config, space, Role.FAN), span)
    switches = [
        sensor
        for quantity in (Quantity.DOOR, Quantity.PEOPLE)
        for sensor in sensors_of(config, space, quantity)
    ]
    busy = switched_spans(reader, switches, span)
    off = quiet_spans(span, [*fans, *busy], SETTLE_MS, LEAST_OFF_MS)
    on = []
    for begin, end in fans:
        on += quiet_spans((begin + FOLLOWED_MS, end), busy, SETTLE_MS, LEAST_ON_MS - FOLLOWED_MS)
    return off, on
