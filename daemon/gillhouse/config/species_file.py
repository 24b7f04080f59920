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
from gillhouse.core.crops import Band, LightWish, Species, Stage, StageProfile
from gillhouse.core.quantities import MEASURES, Quantity

Source = Annotated[str, Field(min_length=3, max_length=800)]
BANDS = {"humidity": Quantity.HUMIDITY, "temperature": Quantity.TEMPERATURE, "co2": Quantity.CO2}
EDGES = ("alarm_low", "low", "target", "high", "alarm_high")


class SpeciesBand(Group):
    alarm_low: Number | None = None
    low: Number | None = None
    target: Number | None = None
    high: Number | None = None
    alarm_high: Number | None = None
    source: Source


class FreshAirGroup(Group):
    least_per_h: Annotated[NotNegative, Field(le=60)]
    source: Source


class LightWishGroup(Group):
    hours: Annotated[NotNegative, Field(le=24)]
    lux: NotNegative | None = None
    source: Source


class DaysGroup(Group):
    least: NotNegative
    most: NotNegative
    source: Source


class StageGroup(Group):
    humidity: SpeciesBand
    temperature: SpeciesBand
    co2: SpeciesBand
    fresh_air: FreshAirGroup
    light: LightWishGroup
    days: DaysGroup | None = None


class SpeciesGroup(Group):
    name: Name
    latin: Name
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
        if profile.days and profile.days.least > profile.days.most:
            sheet.add(("stages", str(stage), "days"), "least is more than most; swap them")
    if len(sheet.mistakes) > before:
        return None
    return Species(
        ident, group.name, group.latin, {stage: _profile(each) for stage, each in group.stages.items()}
    )


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
    )
