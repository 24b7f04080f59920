"""What the last measuring run of a space tells, from the journal: its marks, its readings, the fits.

Here: finding the run and asking `core.step_fit`. Not here: talking to a running daemon (see `measure`).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from gillhouse.audit.evidence import config_at
from gillhouse.audit.journal_series import on_spans, relays_of, sensors_of, series
from gillhouse.config import Config
from gillhouse.core.least_squares import Interval
from gillhouse.core.measurement import Measurement, believable
from gillhouse.core.outputs import EventKind, Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.core.step_fit import AirFit, AirRecord, MistFit, MistRecord, NoFit, fit_air, fit_mist
from gillhouse.core.step_plan import Phase
from gillhouse.core.ventilation import source_m3_per_h
from gillhouse.errors import GillhouseError
from gillhouse.store.reader import Reader

DAYS = 60
"""A run older than this is not looked for."""
DAY_MS = 86_400_000
SETTLE_MS = 180_000
"""After the fan has gone off, before the climb is read."""


@dataclass(frozen=True, slots=True)
class RunFigures:
    """A run's fits, or the reasons why there are none."""

    space: str
    marks: dict[str, int]
    air: AirFit | None
    mist: MistFit | None
    refused: tuple[str, ...]

    def measurement(self) -> Measurement | None:
        """What can be put to use; None where the air part is missing or beyond belief."""
        if self.air is None:
            return None
        found = Measurement(
            fan_m3_per_h=round(self.air.fan_m3_per_h.value, 2),
            leak_ach=round(max(self.air.leak_ach.value, 0.0), 4),
            co2_m3_per_h=round(max(self.air.source_m3_per_h.value, 0.0), 6),
            intake_ppm=round(self.air.intake_ppm.value, 1),
            useful_share=None if self.mist is None else round(self.mist.useful_share.value, 3),
            made_ms=max(self.marks.values()),
        )
        return found if believable(found) else None

    def text(self, config: Config) -> Iterator[str]:
        """For a person: each figure with its fit interval, beside its label."""
        own = [relay for relay in config.farm.relays.values() if relay.space == self.space]
        label = sum(relay.air_m3_per_h for relay in own if relay.role is Role.FAN)
        if self.air is not None:
            grams = source_m3_per_h(1.0, 18.0)
            yield f"  fan: {_amount(self.air.fan_m3_per_h, 'm3/h')}; its label says {label:g}"
            yield f"  leakage: {_amount(self.air.leak_ach, 'air changes an hour')}"
            yield f"  CO2 the batch gives off: {_amount(self.air.source_m3_per_h.times(1 / grams), 'g/h')}"
            yield f"  CO2 of the air outside, as this sensor reads it: {_amount(self.air.intake_ppm, 'ppm')}"
        if self.mist is not None:
            share = self.mist.useful_share.times(100)
            yield f"  mist that stays in the air: {_amount(share, '% of its label')}"
        for words in self.refused:
            yield f"  NO FIGURE: {words}"

    def record(self) -> dict[str, Any]:
        """As plain JSON."""

        def plain(one: Interval) -> dict[str, float]:
            return {"value": one.value, "low": one.low, "high": one.high}

        told: dict[str, Any] = {"space": self.space, "marks": self.marks, "refused": list(self.refused)}
        if self.air is not None:
            told |= {
                "fan_m3_per_h": plain(self.air.fan_m3_per_h),
                "leak_ach": plain(self.air.leak_ach),
                "co2_m3_per_h": plain(self.air.source_m3_per_h),
                "intake_ppm": plain(self.air.intake_ppm),
                "sensor_lag_s": self.air.lag_s,
            }
        if self.mist is not None:
            told["useful_share"] = plain(self.mist.useful_share)
        return told


def _amount(one: Interval, unit: str) -> str:
    return f"{one.value:.3g} {unit} (fit interval {one.low:.3g} to {one.high:.3g})"


def last_run(reader: Reader, space: str, now_ms: int) -> Facts:
    """The facts of the last run of a space that ended.

    Raises:
        GillhouseError: there is none.
    """
    found: Facts | None = None
    for one in reader.events(now_ms - DAYS * DAY_MS, now_ms + 1, EventKind.DECISION):
        event = one.event
        ended = event.facts.get("step") in (Phase.DONE.value, Phase.GIVEN_UP.value)
        if event.reason is Reason.MEASURING and event.subject == space and ended:
            found = event.facts
    if found is None:
        raise GillhouseError(
            f"no measuring run of {space} in the journal: begin one with gillhouse measure {space}"
        )
    return found


def run_figures(reader: Reader, space_id: str, now_ms: int) -> RunFigures:
    """Fits the last run of a space.

    Raises:
        GillhouseError: no such space, or no run of it.
    """
    config = config_at(reader, now_ms)
    if space_id not in config.farm.spaces:
        raise GillhouseError(f"there is no space {space_id!r}; there are {', '.join(config.farm.spaces)}")
    facts = last_run(reader, space_id, now_ms)
    marks = {
        name.removesuffix("_from_ms"): int(at)
        for name, at in facts.items()
        if name.endswith("_from_ms") and isinstance(at, (int, float))
    }
    refused = []
    air: AirFit | None = None
    mist: MistFit | None = None
    if Phase.DONE.value not in marks:
        refused.append(f"the run is incomplete, it was {facts.get('phase', 'given up')}")
    else:
        try:
            air = fit_air(_air_record(reader, config, space_id, marks))
        except NoFit as error:
            refused.append(f"air: {error}")
        try:
            mist = fit_mist(_mist_record(reader, config, space_id, marks))
        except NoFit as error:
            refused.append(f"mist: {error}")
    return RunFigures(space_id, marks, air, mist, tuple(refused))


def _air_record(reader: Reader, config: Config, space_id: str, marks: dict[str, int]) -> AirRecord:
    space = config.farm.spaces[space_id]
    span = (marks[Phase.REST] + SETTLE_MS, marks[Phase.DONE])
    co2 = series(reader, sensors_of(config, space_id, Quantity.CO2), span)
    fan_on = on_spans(reader, relays_of(config, space_id, Role.FAN), span)
    return AirRecord(space.volume_m3, co2, fan_on, span, space.intake.co2_ppm)


def _mist_record(reader: Reader, config: Config, space_id: str, marks: dict[str, int]) -> MistRecord:
    if Phase.MIST not in marks:
        raise NoFit("there is no mist with a label, or no humidity and temperature beside it")
    span = (marks[Phase.MIST], marks[Phase.AGAIN])
    mists = relays_of(config, space_id, Role.MIST)
    return MistRecord(
        volume_m3=config.farm.spaces[space_id].volume_m3,
        humidity=series(reader, sensors_of(config, space_id, Quantity.HUMIDITY), span),
        temperature=series(reader, sensors_of(config, space_id, Quantity.TEMPERATURE), span),
        mist_on=on_spans(reader, mists, span),
        litres_per_h=sum(config.farm.relays[mist].litres_per_h for mist in mists),
        span=span,
    )
