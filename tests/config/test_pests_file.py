"""Pest files: the shipped ones are whole, the grower's lie over them figure by figure, mistakes are named.

The words of mistakes are the project's own; line and column were compared with the text by eye.
"""

from pathlib import Path

import pytest

from gillhouse.ahead.pests import PestStage
from gillhouse.ahead.rates import RateTable
from gillhouse.config import shipped_dir
from gillhouse.config.pests_file import load_pests
from gillhouse.errors import ConfigError

FILES = sorted((shipped_dir() / "pests").glob("*.yaml"))
GOOD = """\
name: "sample flies"
latin: "Exempla musca"
young: flies
stages:
  egg to adult:
    points:
      - {at_c: 10, days: 40}
      - {at_c: 20, days: 20, most_days: 24}
    zero_c: 4
    source: "invented for a test"
window: {share: 0.2, source: "invented for a test"}
"""


def load_one(folder: Path, text: str, name: str = "sample") -> list[str]:
    """What is wrong with a grower's file of that text."""
    (folder / "pests").mkdir(exist_ok=True)
    (folder / "pests" / f"{name}.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_pests(folder)
    return [line.replace(f"{folder}/pests/", "") for line in caught.value.mistakes]


def test_the_shipped_ones_name_a_source_for_every_figure() -> None:
    pests = load_pests()
    assert {"sciarid", "phorid", "cecid", "shiitake-gnat", "button-sciarid"} <= set(pests)
    assert len(FILES) == len(pests)
    for pest in pests.values():
        assert pest.stages and pest.window_source
        told = [one.pace.source for one in pest.stages] + [
            one.source for one in (*pest.advice, *pest.thresholds)
        ]
        assert all(len(source) > 5 for source in told), pest.id


def test_the_species_they_are_shown_for_exist() -> None:
    known = {path.stem for path in (shipped_dir() / "species").glob("*.yaml")}
    for pest in load_pests().values():
        assert set(pest.crops) <= known, pest.id


def test_a_growers_own_pest_and_own_figure(tmp_path: Path) -> None:
    (tmp_path / "pests").mkdir()
    (tmp_path / "pests" / "sample.yaml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "pests" / "sciarid.yaml").write_text("window: {share: 0.3}\n", encoding="utf-8")
    pests = load_pests(tmp_path)
    (stage,) = pests["sample"].stages
    assert stage.stage is PestStage.EGG_TO_ADULT
    assert isinstance(stage.pace, RateTable) and stage.pace.points[1].most_days == 24
    shipped = load_pests()["sciarid"]
    assert (pests["sciarid"].window_share, shipped.window_share) == (0.3, 0.18)
    assert "set in" in pests["sciarid"].window_source and "by the grower" in pests["sciarid"].window_source
    assert pests["sciarid"].stages == shipped.stages


def test_one_without_rates_is_allowed_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "pests").mkdir()
    (tmp_path / "pests" / "mite.yaml").write_text(
        "name: mites\nlatin: Acari\nyoung: mites\n", encoding="utf-8"
    )
    assert not load_pests(tmp_path)["mite"].is_sourced


STAGE = "stages.egg to adult"
MISTAKES = [
    ("days: 40", "days: -40", f"7:20: {STAGE}.points #1.days: should be more than 0 (got -40)"),
    (
        "at_c: 20",
        "at_c: 10",
        f"8:9: {STAGE}.points #2: at_c 10 comes after 10; put the coolest first, each once",
    ),
    (
        "most_days: 24",
        "most_days: 4",
        f"8:30: {STAGE}.points #2.most_days: 4 is under days (20); swap them",
    ),
    (
        "zero_c: 4",
        "zero_c: 12",
        f"9:5: {STAGE}.zero_c: 12 is not below the coolest point (10); growth was seen there",
    ),
    (
        "    zero_c: 4\n",
        "",
        f"5:3: {STAGE}.zero_c: is missing; add the temperature at which growth stops",
    ),
    (
        '    source: "invented for a test"\n',
        "",
        f"5:3: {STAGE}.source: is missing; say where the points are from",
    ),
    ("at_c: 20", "at_c: 68", f"8:10: {STAGE}.points #2.at_c: should be 45 or less (got 68)"),
    ("young: flies", "younq: flies", "3:1: younq: unknown key; did you mean young?"),
    (
        "egg to adult:",
        "egg:",
        "4:1: stages: should be egg, larva and pupa, or egg to adult alone, or cycle alone (got egg); leave"
        " stages out where no figure is sourced",
    ),
    (
        'window: {share: 0.2, source: "invented for a test"}\n',
        "",
        "1:1: window: is missing; add share and source: how wide the windows are, and why",
    ),
]


@pytest.mark.parametrize(("old", "new", "expected"), MISTAKES)
def test_each_mistake_is_named_with_its_place(tmp_path: Path, old: str, new: str, expected: str) -> None:
    assert old in GOOD
    assert f"sample.yaml:{expected}" in load_one(tmp_path, GOOD.replace(old, new))


def test_a_stage_without_figures_and_a_line_upside_down(tmp_path: Path) -> None:
    text = "name: n\nlatin: l\nyoung: y\nstages: {cycle: {}}\nwindow: {share: 0.1, source: invented}\n"
    assert load_one(tmp_path, text) == [
        "sample.yaml:4:10: stages.cycle: holds neither points nor line; add one, or leave the stage out"
    ]
    line = "{line: {zero_c: 8, degree_days: 90, tested_c: [25, 12], source: invented}}"
    (found,) = load_one(tmp_path, text.replace("{}", line))
    assert found.endswith("stages.cycle.line.tested_c: 25 is not below 12; write [from, to]")


def test_mistakes_of_several_files_come_together(tmp_path: Path) -> None:
    load_one(tmp_path, GOOD.replace("days: 40", "days: x"))
    found = load_one(tmp_path, "name: [", name="other")
    assert {line.split(":")[0] for line in found} == {"sample.yaml", "other.yaml"}
