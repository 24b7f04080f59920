"""Pest files: `config/pests/ID.yaml`, each figure with its source, and the grower's laid over the shipped.

Here: the keys, what they must agree on, and finding the files. They decide nothing in a running daemon, so
they are no part of its config and its digest; only commands read them.
"""

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import Field

from gillhouse.ahead.pests import Advice, AdviceKind, Life, Pest, PestStage, StagePace, Threshold
from gillhouse.ahead.rates import Pace, Point, RateLine, RateTable
from gillhouse.config.fields import Group, Line, Name, NotNegative, Number, Positive
from gillhouse.config.mistake import Mistake
from gillhouse.config.places import read_text, shipped_dir
from gillhouse.config.species_file import Source, laid_over
from gillhouse.config.tree import Key, Sheet, parse
from gillhouse.config.wording import validate
from gillhouse.errors import ConfigError

COLDEST_C, WARMEST_C = -10.0, 45.0
"""No mushroom fly comes on beyond these: a figure outside is a slip."""
Temp = Annotated[Number, Field(ge=COLDEST_C, le=WARMEST_C)]
Days = Annotated[Positive, Field(le=400)]
Text = Annotated[str, Field(min_length=3, max_length=1200)]
ORDER = (PestStage.EGG, PestStage.LARVA, PestStage.PUPA)
WHOLE = (PestStage.EGG_TO_ADULT, PestStage.CYCLE)


class PointGroup(Group):
    at_c: Temp
    days: Days
    most_days: Days | None = None
    """Where the source gives a range."""


class LineGroup(Group):
    zero_c: Temp
    degree_days: Annotated[Positive, Field(le=5000)]
    tested_c: tuple[Temp, Temp] | None = None
    """From what to what it was tested; left out: the source does not say."""
    source: Source


class PaceGroup(Group):
    points: list[PointGroup] | None = Field(default=None, min_length=1)
    zero_c: Temp | None = None
    """With points: where growth stops."""
    line: LineGroup | None = None
    source: Source | None = None
    """Of points and zero_c."""


class WindowGroup(Group):
    share: Annotated[NotNegative, Field(le=0.5)]
    source: Source


class AdviceGroup(Group):
    kind: AdviceKind
    text: Text
    source: Source


class ThresholdGroup(Group):
    what: Line
    count: Positive
    most_count: Positive | None = None
    source: Source


class PestGroup(Group):
    name: Name
    latin: Name
    young: Name
    stages: dict[PestStage, PaceGroup] = Field(default_factory=dict)
    window: WindowGroup | None = None
    adult_life: PaceGroup | None = None
    crops: list[Name] = Field(default_factory=list)
    note: Text | None = None
    advice: list[AdviceGroup] = Field(default_factory=list)
    thresholds: list[ThresholdGroup] = Field(default_factory=list)


def load_pests(beside: Path | None = None) -> dict[str, Pest]:
    """Every pest there is a file for, by its id: the shipped, and those in a folder `pests/` of the grower's.

    Args:
        beside: the folder the farm file stands in; None: shipped files only.
    Raises:
        ConfigError: every mistake in every file.
    """
    shipped = _sheets(shipped_dir() / "pests")
    own = {} if beside is None or beside.resolve() == shipped_dir() else _sheets(beside / "pests")
    found: dict[str, Pest] = {}
    mistakes: list[Mistake] = []
    for ident in sorted({*shipped, *own}):
        sheet = laid_over(shipped.get(ident), own.get(ident))
        pest = read_pest(sheet, ident)
        mistakes += sheet.mistakes
        if pest is not None:
            found[ident] = pest
    if mistakes:
        raise ConfigError([str(mistake) for mistake in sorted(set(mistakes))])
    return found


def _sheets(folder: Path) -> dict[str, Sheet]:
    found = {}
    for path in sorted(folder.glob("*.yaml")):
        text, mistakes = read_text(path)
        sheet = Sheet(str(path), mistakes=mistakes) if mistakes else parse(text, str(path))
        found[path.stem] = sheet
    return found


def read_pest(sheet: Sheet, ident: str) -> Pest | None:
    """The pest in `sheet`, or None with every mistake noted there."""
    if sheet.data is None:
        return None
    group = validate(sheet, PestGroup, sheet.data, ())
    if group is None:
        return None
    before = len(sheet.mistakes)
    _check_stages(sheet, group)
    paces = {stage: _pace(sheet, ("stages", str(stage)), each) for stage, each in group.stages.items()}
    life = _pace(sheet, ("adult_life",), group.adult_life) if group.adult_life else None
    if len(sheet.mistakes) > before:
        return None
    return Pest(
        id=ident,
        name=group.name,
        latin=group.latin,
        young=group.young,
        stages=tuple(
            StagePace(stage, pace, _line(group.stages[stage].line))
            for stage in PestStage
            if (pace := paces.get(stage)) is not None
        ),
        window_share=group.window.share if group.window else 0.0,
        window_source=group.window.source if group.window else "",
        life=None if life is None else Life(life, life.source),
        crops=tuple(group.crops),
        note=group.note or "",
        advice=tuple(Advice(one.kind, one.text, one.source) for one in group.advice),
        thresholds=tuple(
            Threshold(one.what, one.count, one.most_count or one.count, one.source)
            for one in group.thresholds
        ),
    )


def _check_stages(sheet: Sheet, group: PestGroup) -> None:
    """All of egg, larva, pupa; or one that stands for the whole; or none."""
    given = set(group.stages)
    whole = [stage for stage in WHOLE if stage in given]
    if given and given != set(ORDER) and not (len(given) == 1 and whole):
        told = ", ".join(str(stage) for stage in PestStage if stage in given)
        sheet.add(
            ("stages",),
            f"should be egg, larva and pupa, or egg to adult alone, or cycle alone (got {told}); "
            "leave stages out where no figure is sourced",
        )
    if given and group.window is None:
        sheet.add(("window",), "is missing; add share and source: how wide the windows are, and why")


def _pace(sheet: Sheet, key: Key, group: PaceGroup) -> Pace | None:
    """A table leads; a line serves where there is none."""
    if group.points is None:
        if group.line is None:
            sheet.add(key, "holds neither points nor line; add one, or leave the stage out")
            return None
        _check_line(sheet, (*key, "line"), group.line)
        return _line(group.line)
    if group.line is not None:
        _check_line(sheet, (*key, "line"), group.line)
    if group.zero_c is None:
        sheet.add((*key, "zero_c"), "is missing; add the temperature at which growth stops")
        return None
    if group.source is None:
        sheet.add((*key, "source"), "is missing; say where the points are from")
        return None
    _check_points(sheet, key, group.points, group.zero_c)
    points = [Point(one.at_c, one.days, one.most_days or one.days) for one in group.points]
    return RateTable(tuple(points), group.zero_c, group.source)


def _check_points(sheet: Sheet, key: Key, points: Sequence[PointGroup], zero_c: float) -> None:
    for number, (one, after) in enumerate(pairwise(points), 1):
        if one.at_c >= after.at_c:
            sheet.add(
                (*key, "points", number),
                f"at_c {after.at_c:g} comes after {one.at_c:g}; put the coolest first, each once",
            )
    for number, one in enumerate(points):
        if one.most_days is not None and one.most_days < one.days:
            sheet.add(
                (*key, "points", number, "most_days"),
                f"{one.most_days:g} is under days ({one.days:g}); swap them",
            )
    if zero_c >= points[0].at_c:
        sheet.add(
            (*key, "zero_c"),
            f"{zero_c:g} is not below the coolest point ({points[0].at_c:g}); growth was seen there",
        )


def _check_line(sheet: Sheet, key: Key, line: LineGroup) -> None:
    if line.tested_c is None:
        return
    low, high = line.tested_c
    if low >= high:
        sheet.add((*key, "tested_c"), f"{low:g} is not below {high:g}; write [from, to]")
    elif line.zero_c >= high:
        sheet.add((*key, "zero_c"), f"{line.zero_c:g} is not below what was tested ({high:g})")


def _line(group: LineGroup | None) -> RateLine | None:
    if group is None:
        return None
    return RateLine(group.zero_c, group.degree_days, group.tested_c, group.source)
