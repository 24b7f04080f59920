"""Bands of several crops in one space. Figures of single cases are worked by hand in the test; the rest are
properties any rule for meeting bands must have."""

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.bands_meet import UNITS, CropHere, band_of, explain, meet
from gillhouse.core.crops import Band, LightWish, Stage, StageProfile
from gillhouse.core.quantities import Quantity

ANY = Band(None, None, None, None, None, "test")


def band(low=None, high=None, alarm_low=None, alarm_high=None, target=None):
    return Band(low, high, target, alarm_low, alarm_high, "test")


def crop(
    species,
    kg=10.0,
    priority=False,
    *,
    humidity=ANY,
    co2=ANY,
    temperature=ANY,
    hours=10.0,
    lux=500.0,
    air=2.0,
):
    light = LightWish(hours, lux, f"light of {species}")
    profile = StageProfile(humidity, temperature, co2, air, "test", light, None)
    return CropHere(species, Stage.FRUITING, kg, priority, profile)


def edges(met, quantity=Quantity.HUMIDITY):
    found = met.bands[quantity]
    return found.alarm_low, found.low, found.high, found.alarm_high


def test_one_crop_keeps_its_own_bands_to_the_letter():
    own = band(85, 90, 80, 95, 88)
    met = meet([crop("grey-oyster", humidity=own)])
    assert met.bands[Quantity.HUMIDITY] is own
    assert (met.fresh_air_ach, met.light.hours, met.notes) == (2.0, 10.0, ())


def test_two_crops_share_what_both_bands_cover():
    one = crop("one", humidity=band(85, 90, 80, 95, 86))
    two = crop("two", kg=5.0, humidity=band(87, 94, 80, 97), air=3.0, lux=300.0, hours=8.0)
    met = meet([one, two])
    assert edges(met) == (80, 87, 90, 95)
    assert met.bands[Quantity.HUMIDITY].target == 87, "the aim of 86 is brought inside"
    assert met.fresh_air_ach == 3.0
    assert (met.light.hours, met.light.lux, met.notes) == (10.0, 500.0, ())
    assert "for one, fruiting: test" in met.bands[Quantity.HUMIDITY].source


def test_the_crop_with_priority_wins_and_it_is_said_which_two_and_what():
    wet = crop("grey-oyster", kg=5.0, priority=True, humidity=band(85, 90, 80, 95))
    dry = crop("shiitake", kg=500.0, humidity=band(65, 75, 60, 93))
    met = meet([dry, wet])
    # held: 85-90 with alarms 80 and 95; of the other's, 93 is over half the way to 95, 60 beyond 80
    assert edges(met) == (80, 85, 90, 93)
    [clash] = met.notes
    assert (clash.kept, clash.gives_way, clash.declared) == ("grey-oyster", "shiitake", True)
    assert explain(clash, {"grey-oyster": "grey oyster"}) == (
        "humidity: grey oyster (fruiting) wants 85 to 90 %, shiitake (fruiting) wants 65 to 75 %; both cannot"
        " be had, it is kept for grey oyster, which has priority"
    )


def test_an_alarm_of_the_loser_close_to_the_band_calls_nobody():
    wet = crop("grey-oyster", priority=True, humidity=band(85, 90, 80, 95))
    dry = crop("shiitake", humidity=band(75, 84, 60, 92))  # 92 is nearer to 90 than half the way to 95
    assert edges(meet([dry, wet])) == (80, 85, 90, 95)


def test_without_priority_the_heavier_crop_wins_and_it_is_said_how_to_choose():
    wet = crop("wet", kg=5.0, humidity=band(85, 90))
    dry = crop("dry", kg=50.0, humidity=band(65, 75))
    met = meet([wet, dry])
    assert edges(met)[1:3] == (65, 75)
    assert explain(met.notes[0], {}).endswith("kept for dry, of which there is more; set priority to choose")


def test_bands_that_only_touch_have_nothing_in_common():
    met = meet([crop("a", humidity=band(85, 90)), crop("b", humidity=band(90, 95))])
    assert [note.gives_way for note in met.notes] == ["b"]


def test_a_third_crop_that_agrees_with_the_winner_still_narrows():
    first = crop("first", priority=True, co2=band(None, 1000, None, 1500))
    stems = crop("stems", kg=90.0, co2=band(1500, 3000, 1000, 5000))
    third = crop("third", kg=20.0, co2=band(None, 800, None, 1000))
    met = meet([stems, third, first])
    assert edges(met, Quantity.CO2) == (None, None, 800, 1000)
    assert [(note.kept, note.gives_way) for note in met.notes] == [("first", "stems")]
    assert "wants 1000 ppm at most, stems (fruiting) wants 1500 to 3000 ppm" in explain(met.notes[0], {})


def test_fresh_air_by_weight_adds_up_and_the_lowest_core_limit_counts():
    one, two = crop("one", kg=200.0), crop("two", kg=100.0)
    hot = replace(one.profile, fresh_air_m3_per_h_kg=0.1, block_core=band(alarm_high=30))
    cool = replace(two.profile, fresh_air_m3_per_h_kg=0.03, block_core=band(alarm_high=28))
    met = meet([replace(one, profile=hot), replace(two, profile=cool)])
    assert met.fresh_air_m3_per_h == pytest.approx(23.0)  # 200 x 0.1 + 100 x 0.03
    assert met.block_core_c == 28
    assert meet([one]).block_core_c is None


def test_no_crop_is_an_error():
    with pytest.raises(ValueError, match="at least one"):
        meet([])


numbers = st.integers(0, 100)


@st.composite
def bands(draw):
    """Edges in the order the config check asks for, any of them open; low below high."""
    alarm_low, low, high, alarm_high = sorted(draw(st.lists(numbers, min_size=4, max_size=4)))
    low, high = (low, high) if low < high else (low, low + 1)
    given_edges = [draw(st.booleans()) for _ in range(4)]
    four = [
        edge if keep else None
        for edge, keep in zip((low, high, alarm_low, max(alarm_high, high)), given_edges, strict=True)
    ]
    return band(*four, target=draw(st.sampled_from((None, low, high))))


@st.composite
def crops(draw):
    kilograms = draw(st.lists(st.integers(0, 3), min_size=1, max_size=4))
    priority = draw(st.integers(0, 4))
    return [
        crop(
            f"crop-{n}",
            float(kg),
            n == priority,
            humidity=draw(bands()),
            temperature=draw(bands()),
            co2=draw(bands()),
        )
        for n, kg in enumerate(kilograms)
    ]


@given(crops())
def test_the_band_lies_inside_that_of_every_crop_that_did_not_give_way(here):
    met = meet(here)
    for quantity in UNITS:
        out = {note.gives_way for note in met.notes if note.quantity is quantity}
        found = met.bands[quantity]
        for each in here:
            own = band_of(each.profile, quantity)
            if each.species in out:
                continue
            assert own.low is None or (found.low is not None and found.low >= own.low)
            assert own.high is None or (found.high is not None and found.high <= own.high)
            assert own.alarm_low is None or (found.alarm_low is not None and found.alarm_low >= own.alarm_low)
            assert own.alarm_high is None or (
                found.alarm_high is not None and found.alarm_high <= own.alarm_high
            )


@given(crops())
def test_alarms_never_lie_inside_the_band_and_the_band_is_never_empty(here):
    for found in meet(here).bands.values():
        given_edges = [
            e
            for e in (found.alarm_low, found.low, found.target, found.high, found.alarm_high)
            if e is not None
        ]
        assert given_edges == sorted(given_edges)
        assert found.low is None or found.high is None or found.low < found.high


@given(crops())
def test_order_does_not_matter(here):
    first = meet(here)
    assert all(meet(order) == first for order in permutations(here))


@given(crops())
def test_the_crop_with_priority_never_gives_way(here):
    met = meet(here)
    favoured = [each.species for each in here if each.priority]
    assert not {note.gives_way for note in met.notes} & set(favoured)


@given(crops())
def test_every_clash_is_a_true_one(here):
    """Worked anew: the two bands told of share no point inside both."""
    for note in meet(here).notes:
        (low_a, high_a), (low_b, high_b) = note.kept_edges, note.gives_way_edges
        beyond = [low_a is not None and high_b is not None and low_a >= high_b]
        beyond += [low_b is not None and high_a is not None and low_b >= high_a]
        assert any(beyond)
