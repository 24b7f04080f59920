"""A species file: what one mushroom wants at each stage, every figure with its source.

Here: the keys of `species/NAME.yaml`, and laying the grower's own file over the shipped one figure by figure.
Not here: which species a space grows (`farm_file`).
"""

from itertools import pairwise
from typing import Annotated

from pydantic import Field

from gillhouse.config.fields import Group, Name, NotNegative, Number
from gillhouse.config.tree import Key, Sheet
from gillhouse.config.wording import validate
from gillhouse.core.crops import Band, LightWish, Species, Stage, StageProfile, Usual
from gillhouse.core.quantities import MEASURES, Quantity

Source = Annotated[str, Field(min_length=3, max_length=1200)]
BANDS = {"humidity": Quantity.HUMIDITY, "temperature": Quantity.TEMPERATURE, "co2": Quantity.CO2}
EDGES = ("alarm_low", "low", "target", "high", "alarm_high")
WHOLE_CROP = ("flushes", "days_between_flushes", "biological_efficiency")
"""Figures that belong to no stage. Key -> `least` and `most`."""


class SpeciesBand(Group):
    alarm_low: Number | None = None
    low: Number | None = None
    target: Number | None = None
    high: Number | None = None
    alarm_high: Number | None = None
    source: Source


class FreshAirGroup(Group):
    least_per_h: Annotated[NotNegative, Field(le=60)]
    least_m3_per_h_per_kg: Annotated[NotNegative, Field(le=10)] = 0.0
    """0: no figure."""
    source: Source


class LightWishGroup(Group):
    hours: Annotated[NotNegative, Field(le=24)]
    lux: NotNegative | None = None
    most_lux: NotNegative | None = None
    source: Source


class UsualGroup(Group):
    """Days, flushes ...: from what to what they usually come."""

    least: NotNegative
    most: NotNegative
    source: Source


class CoreGroup(Group):
    """The inside of a block, which makes its own heat."""

    alarm_high: Number
    source: Source


class StageGroup(Group):
    humidity: SpeciesBand
    temperature: SpeciesBand
    co2: SpeciesBand
    fresh_air: FreshAirGroup
    light: LightWishGroup
    days: UsualGroup | None = None
    block_core: CoreGroup | None = None


class SpeciesGroup(Group):
    name: Name
    latin: Name
    flushes: UsualGroup | None = None
    days_between_flushes: UsualGroup | None = None
    biological_efficiency: UsualGroup | None = None
    """In %; over 100 is possible, for fruit is mostly water."""
    stages: dict[Stage, StageGroup] = Field(min_length=1)


def laid_over(shipped: Sheet | None, own: Sheet | None) -> Sheet:
    """One sheet out of the shipped species file and the grower's: each figure the grower's where given.

    Where only one exists it is returned as it stands. A group in which the grower set figures says so in its
    source.
    """
    if own is None or shipped is None or own.mistakes or not isinstance(own.data, dict):
        return own or shipped or Sheet("species")
    merged = Sheet(own.name, mistakes=list(shipped.mistakes))
    merged.data = _over(shipped.data, own.data, own.name)
    merged.where = dict(own.where)
    return merged


def set_by(names: list[str], rest: str | None, file: str) -> str:
    """The source of a group in which the grower set `names`; the others keep `rest`."""
    said = f"set in {file} by the grower"
    return said if rest is None else f"{', '.join(names)} {said}; the others: {rest}"


def _over(base: object, own: object, file: str) -> object:
    if not isinstance(base, dict) or not isinstance(own, dict):
        return own
    merged = dict(base)
    for name, value in own.items():
        merged[name] = _over(base[name], value, file) if name in base else value
    if "source" in base and "source" not in own:
        mine = [name for name, value in own.items() if value is not None]
        left = [name for name in base if name not in own and name != "source"]
        merged["source"] = set_by(mine, str(base["source"]) if left else None, file)
    return merged


def read_species(sheet: Sheet, ident: str) -> Species | None:
    """The species in `sheet`, or None with every mistake noted there."""
    if sheet.data is None:
        return None
    group = validate(sheet, SpeciesGroup, sheet.data, ())
    if group is None:
        return None
    before = len(sheet.mistakes)
    for stage, profile in group.stages.items():
        for name, quantity in BANDS.items():
            key = ("stages", str(stage), name)
            check_band(sheet, key, quantity, {edge: getattr(getattr(profile, name), edge) for edge in EDGES})
        _check_stage(sheet, ("stages", str(stage)), profile)
    for name in WHOLE_CROP:
        _check_order(sheet, (name,), getattr(group, name))
    if len(sheet.mistakes) > before:
        return None
    return Species(
        id=ident,
        name=group.name,
        latin=group.latin,
        stages={stage: _profile(each) for stage, each in group.stages.items()},
        flushes=_usual(group.flushes),
        days_between_flushes=_usual(group.days_between_flushes),
        biological_efficiency_pct=_usual(group.biological_efficiency),
    )


def _check_stage(sheet: Sheet, here: Key, profile: StageGroup) -> None:
    _check_order(sheet, (*here, "days"), profile.days)
    light = profile.light
    if light.lux is not None and light.most_lux is not None and light.lux > light.most_lux:
        sheet.add(
            (*here, "light", "lux"), f"{light.lux:g} is more than most_lux ({light.most_lux:g}); swap them"
        )
    if profile.block_core:
        edges = {edge: getattr(profile.block_core, edge, None) for edge in EDGES}
        check_band(sheet, (*here, "block_core"), Quantity.TEMPERATURE, edges)


def _check_order(sheet: Sheet, key: Key, usual: UsualGroup | None) -> None:
    if usual and usual.least > usual.most:
        sheet.add(key, "least is more than most; swap them")


def _usual(group: UsualGroup | None) -> Usual | None:
    return Usual(group.least, group.most, group.source) if group else None


def check_band(sheet: Sheet, key: Key, quantity: Quantity, edges: dict[str, float | None]) -> None:
    """Note edges out of order, or beyond what the quantity can be. `key` is where the band stands."""
    measure = MEASURES[quantity]
    given = [(name, value) for name in EDGES if (value := edges[name]) is not None]
    for name, value in given:
        if not measure.low <= value <= measure.high:
            sheet.add((*key, name), f"should be from {measure.low:g} to {measure.high:g} (got {value:g})")
    for (name, value), (higher, limit) in pairwise(given):
        if value > limit or (value == limit and {name, higher} == {"low", "high"}):
            sheet.add(
                (*key, name),
                f"{value:g} is not below {higher} ({limit:g}); {' <= '.join(n for n, _ in given)} is the"
                " order",
            )


def _profile(group: StageGroup) -> StageProfile:
    bands = {name: Band(**getattr(group, name).model_dump()) for name in BANDS}
    return StageProfile(
        **bands,
        fresh_air_ach=group.fresh_air.least_per_h,
        fresh_air_source=group.fresh_air.source,
        light=LightWish(**group.light.model_dump()),
        days=(group.days.least, group.days.most) if group.days else None,
        days_source=group.days.source if group.days else "",
        fresh_air_m3_per_h_kg=group.fresh_air.least_m3_per_h_per_kg,
        block_core=_core(group.block_core),
    )


def _core(group: CoreGroup | None) -> Band | None:
    return Band(None, None, None, None, group.alarm_high, group.source) if group else None
