"""The pages on pests: the picture is of today's rules, and what they say of the code is so."""

import re

from docs.pages import ROOT
from docs.pest_pictures import PICTURE, ROME, outlook, picture
from gillhouse.ahead.cap_wet import CALL_H, FILM_MM, NEAR_DEW_C, WARN_H
from gillhouse.ahead.diary import read
from gillhouse.ahead.moulds import GREEN_MOULD_C, SETTLE_MIN
from gillhouse.ahead.pests import AdviceKind, PestStage
from gillhouse.ahead.traps import TREND_WITHIN_MS, USUAL_COUNTS
from gillhouse.ahead.warmth import DOUBT_C, NEAR_DAYS, SHORT_H, TYPICAL_DAYS, Origin
from gillhouse.audit.pests_told import chart
from gillhouse.config.pests_file import PestGroup, load_pests

MODELS = (ROOT / "docs/explanation/pests.md").read_text(encoding="utf-8")
KEYS = (ROOT / "docs/reference/pests.md").read_text(encoding="utf-8")
HOW = (ROOT / "docs/how-to/flies.md").read_text(encoding="utf-8")


def test_the_picture_is_of_todays_rules() -> None:
    assert PICTURE.read_text(encoding="utf-8") == picture(), "run: python -m tests.docs.pest_pictures"
    assert len(outlook().pests) == 2


def test_weeks_begin_on_mondays_over_the_end_of_summer_time() -> None:
    """Rome's clocks go back on 25 October 2026 (IANA time zone data); 19 October is a Monday."""
    labels = [tick.label for tick in chart(outlook(), ROME).ticks]
    assert labels[:4] == ["19 Oct", "26 Oct", "2 Nov", "9 Nov"]


def test_the_figures_on_the_page_are_those_of_the_code() -> None:
    doubts = [float(found) for found in re.findall(r"\| (\d(?:\.\d)?) °C \|", MODELS)]
    assert doubts == [
        DOUBT_C[one]
        for one in (Origin.LOGGED, Origin.BRIDGED, Origin.FILLED, Origin.FORECAST, Origin.TYPICAL)
    ]
    assert f"holes of up to {SHORT_H} h" in MODELS
    assert f"the {NEAR_DAYS} logged days on each side" in MODELS
    assert f"the last {TYPICAL_DAYS} logged days" in MODELS
    assert f"within {NEAR_DEW_C} °C" in MODELS and f"a film of {FILM_MM} mm" in MODELS
    assert (WARN_H, CALL_H, SETTLE_MIN) == (2.0, 4.0, 15)
    assert (GREEN_MOULD_C, USUAL_COUNTS, TREND_WITHIN_MS) == ((30.0, 33.0, 36.0), 6, 42 * 86_400_000)
    assert {one.window_share for one in load_pests().values()} == {0.18}


def test_every_key_and_pest_is_on_the_page_of_keys() -> None:
    for key in PestGroup.model_fields:
        assert f"`{key}`" in KEYS, key
    for kind in AdviceKind:
        assert kind in KEYS
    for stage in PestStage:
        assert stage is PestStage.ADULT or f"`{stage}`" in KEYS
    for ident in load_pests():
        assert f"`{ident}`" in KEYS and f"`{ident}`" in HOW


def test_the_sentences_on_the_page_are_read() -> None:
    from zoneinfo import ZoneInfo

    told = re.findall(r"^    (flies: .*)$", KEYS, re.MULTILINE)
    assert len(told) == 3
    assert all(read(one, ZoneInfo("Europe/Rome")) for one in told)
