"""The page of the crops says what the shipped species files say.

python tests/docs/test_crops_page.py     writes everything after the page's marker anew
"""

import re
from collections.abc import Iterator
from pathlib import Path

from gillhouse.config import load_files
from gillhouse.core.bands_meet import UNITS, band_of
from gillhouse.core.crops import Band, LightWish, Species, Stage, StageProfile, Usual

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "crops.md"
BEGIN = "<!-- from here on made by tests/docs/test_crops_page.py, do not edit -->"
HEAD = (
    "| stage | humidity % | temperature °C | CO2 ppm | fresh air, at least | light | days "
    "| inside a block °C |"
)
FARM = """\
farm: {name: Any, zone: UTC}
spaces:
  any: {name: Any, kind: room, walk_in: no, volume_m3: 1, crop: {species: shiitake, stage: rest, kg: 1}}
"""


def shipped() -> dict[str, Species]:
    return dict(load_files({"farm.yaml": FARM}).species)


def band(of: Band) -> str:
    """`85 to 90, call < 80 > 95`."""
    if of.low is not None and of.high is not None:
        keep = f"**{of.low:g} to {of.high:g}**"
    else:
        keep = f"**at most {of.high:g}**" if of.high is not None else f"**at least {of.low:g}**"
    calls = [
        f"{sign} {limit:g}"
        for sign, limit in (("<", of.alarm_low), (">", of.alarm_high))
        if limit is not None
    ]
    return f"{keep}, call {' '.join(calls)}" if calls else f"{keep}, no call"


def air(profile: StageProfile) -> str:
    weight = profile.fresh_air_m3_per_h_kg
    return f"{profile.fresh_air_ach:g}/h" + (f", {weight:g} m3/h per kg" if weight else "")


def light(wish: LightWish) -> str:
    if wish.lux is None:
        return f"{wish.hours:g} h" if wish.hours else "none"
    return f"{wish.hours:g} h, {wish.lux:g} to {wish.most_lux:g} lux"


def span(least: float, most: float) -> str:
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def row(stage: Stage, profile: StageProfile) -> str:
    core = profile.block_core
    cells = (
        stage.value,
        *(band(band_of(profile, quantity)) for quantity in UNITS),
        air(profile),
        light(profile.light),
        span(*profile.days) if profile.days else "-",
        f"call > {core.alarm_high:g}" if core else "-",
    )
    return f"| {' | '.join(cells)} |"


def usual(name: str, of: Usual | None, unit: str = "") -> Iterator[tuple[str, str]]:
    """The words, and the line of their source."""
    if of:
        yield f"{name} {span(of.least, of.most)}{unit}", f"- {name}: {of.source}"


def whole(species: Species) -> list[tuple[str, str]]:
    return [
        *usual("flushes", species.flushes),
        *usual("days between flushes", species.days_between_flushes),
        *usual("biological efficiency", species.biological_efficiency_pct, " %"),
    ]


def sources(stage: Stage, profile: StageProfile) -> Iterator[str]:
    for quantity in UNITS:
        yield f"- {stage}, {quantity}: {band_of(profile, quantity).source}"
    yield f"- {stage}, fresh air: {profile.fresh_air_source}"
    yield f"- {stage}, light: {profile.light.source}"
    if profile.days:
        yield f"- {stage}, days: {profile.days_source}"
    if profile.block_core:
        yield f"- {stage}, inside a block: {profile.block_core.source}"


def section(species: Species) -> str:
    told = whole(species)
    words = ", ".join(text for text, _ in told)
    return "\n".join(
        (
            f"## {species.name}",
            "",
            f"*{species.latin}*, `{species.id}`: {words}.",
            "",
            HEAD,
            "|" + " --- |" * (HEAD.count("|") - 1),
            *(row(stage, profile) for stage, profile in species.stages.items()),
            "",
            "Sources:",
            "",
            *(line for _, line in told),
            *(line for stage, profile in species.stages.items() for line in sources(stage, profile)),
            "",
        )
    )


def renewed(page: str) -> str:
    """`page` with everything after its marker made anew."""
    before, _, _ = page.partition(BEGIN)
    return before + BEGIN + "\n\n" + "\n".join(section(species) for species in shipped().values())


def test_the_page_is_current() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page.count(BEGIN) == 1
    assert renewed(page) == page, "run: python tests/docs/test_crops_page.py"


def test_every_species_stage_and_source_is_on_the_page() -> None:
    """Counted in the files' own text, so that the page cannot leave out what the program leaves out."""
    page = PAGE.read_text(encoding="utf-8")
    files = sorted((PAGE.parents[2] / "config" / "species").glob("*.yaml"))
    assert len(files) == 13
    assert page.count("\n- ") == sum(file.read_text(encoding="utf-8").count("source: ") for file in files)
    assert all(page.count(f"\n| {stage} |") == 13 for stage in Stage)


def test_the_how_to_s_files_are_sound() -> None:
    """The two species files it shows, laid beside the shipped ones as the page says."""
    how_to = (PAGE.parents[1] / "how-to" / "add-a-species.md").read_text(encoding="utf-8")
    shown = dict(re.findall(r"```yaml\n# (species/[\w-]+\.yaml)[^\n]*\n(.*?)```", how_to, re.S))
    assert sorted(shown) == ["species/grey-oyster.yaml", "species/velvet-cap.yaml"]
    species = load_files({"farm.yaml": FARM, **shown}).species
    assert species["velvet-cap"].stages[Stage.FRUITING].co2.alarm_high == 1500
    oyster = species["grey-oyster"]
    assert (oyster.stages[Stage.FRUITING].humidity.low, oyster.stages[Stage.FRUITING].humidity.high) == (
        82,
        88,
    )
    assert oyster.flushes == Usual(2, 3, "the spawn maker's sheet, March 2026")


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
