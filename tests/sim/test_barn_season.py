"""The made-up barn season: its truth knows nothing of the models, and what they foretell of it comes true."""

import ast
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse import sim
from gillhouse.__main__ import cli
from gillhouse.commands.demo_season import HOSE, Lived, live, text
from gillhouse.sim.barn_season import (
    DAYS,
    GNAT_DAYS,
    HOURS,
    OPENED_DAY,
    BarnHour,
    BarnSeason,
    _grown,
    is_dark,
)

SEEDS = range(1, 7)


@pytest.fixture(scope="module")
def seasons() -> list[Lived]:
    return [live(seed, lambda _day: None) for seed in SEEDS]


def test_its_truth_imports_neither_the_models_nor_the_cores_physics() -> None:
    path = Path(sim.__file__).parent / "barn_season.py"
    names = [
        node.module or ""
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom)
    ]
    assert [name for name in names if name.startswith(("gillhouse.ahead", "gillhouse.core"))] == []


@pytest.mark.parametrize(("temp_c", "days"), GNAT_DAYS)
def test_a_gnat_takes_the_printed_days(temp_c: float, days: float) -> None:
    """Bradysia on oyster mycelium, Korean J. Appl. Entomol. 1998: 60.8, 40.6, 22.2, 19.9, 19.1 days."""
    assert 1.0 / _grown(temp_c) == pytest.approx(days)


def test_the_same_seed_is_the_same_season_and_another_is_another() -> None:
    one, again, other = BarnSeason(3), BarnSeason(3), BarnSeason(4)
    assert one.hours == again.hours and one.flies_at == again.flies_at
    assert one.hours != other.hours
    assert all(at > OPENED_DAY * 24 for at in one.flies_at)


def test_caps_dry_and_slugs_want_a_wet_dark_hour() -> None:
    barn = BarnSeason(1)
    barn.hours = [BarnHour(20.0, 40.0, 6.0)] * HOURS
    barn.hose(0)
    begun = barn.water_mm
    barn.pass_hour(1)
    assert barn.water_mm < begun
    assert sum(barn.slugs_in(at) for at in range(6, 19)) == 0  # by day
    assert sum(barn.slugs_in(at) for at in range(200, 206)) == 0  # dry, and too windy
    barn.hours = [BarnHour(14.0, 95.0, 1.0)] * HOURS
    assert sum(barn.slugs_in(at) for at in range(24) if is_dark(at)) > 0


def test_the_fly_window_comes_true_in_every_season(seasons: list[Lived]) -> None:
    """Every season had flies; nine of ten of them within the last window that was told before the first
    came.
    """
    for lived in seasons:
        assert lived.flies_told and lived.first_fly_day is not None
        assert lived.flies_told[-1].told_on < lived.first_fly_day
        assert lived.share_within >= 0.9


def test_called_nights_had_more_slugs_and_the_counts_say_so(seasons: list[Lived]) -> None:
    for lived in seasons:
        assert lived.counted is not None and len(lived.counted) == DAYS - 1
        assert "worth listening to here" in "\n".join(text(lived))


def test_hosing_when_told_beats_hosing_by_the_clock_as_often(seasons: list[Lived]) -> None:
    """The same barns hosed as many times, evenly over the waking hours: their caps go without for longer."""
    told = sum(lived.harmed_h for lived in seasons)
    by_clock = 0
    for seed, lived in zip(SEEDS, seasons, strict=True):
        barn = BarnSeason(seed)
        times = lived.hosed_when_called + lived.hosed_ahead
        awake = [at for at in range(HOURS) if 7 <= at % 24 < 20]
        hosed = {awake[round(place * (len(awake) - 1) / (times - 1))] for place in range(times)}
        for at in range(HOURS):
            if at in hosed:
                barn.hose(at)
            barn.pass_hour(at)
            by_clock += barn.water_mm < -HOSE.spare_mm
    assert told < 0.8 * by_clock


def test_the_demo_tells_it_with_a_bar_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(cli, ["demo", "--season", "barn", "--seed", "2"], catch_exceptions=False)
    assert list(tmp_path.iterdir()) == []
    assert "SIMULATED season" in done.output and "84 days" in done.output
    for word in ("HOSE", "SLUGS", "FLIES", "the first came on"):
        assert word in done.output
