"""The account of water on caps: by hand in round figures, and what must hold for any weather.

Film and spare are settings; drying is that of `core.drying`, checked there against worked values. The weather
is invented.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.caps import (
    Caps,
    ZoneAir,
    advance,
    fallen_mm,
    feel,
    is_called,
    outlook,
    seen_dry,
    soak,
)
from gillhouse.core.drying import shade_mm_per_day
from gillhouse.core.settings import HoseSettings

HOUR = 3_600_000
MINUTE = 60_000
T0 = 1_760_000_000_000
HOSE = HoseSettings(film_mm=0.15, spare_mm=0.1, call_ms=HOUR)
MIDDLE, EDGE = ZoneAir(20.0, 80.0, 0.0), ZoneAir(20.0, 80.0, 2.0)
STILL_MM_H = 0.390 / 24
"""20 C, 80 %, still: 0.390 mm a day, the worked table of `test_drying`."""


def hosed(airs: dict[str, ZoneAir] | None = None) -> Caps:
    caps = Caps()
    advance(caps, airs or {"middle": MIDDLE}, 0.0, HOSE, T0)
    soak(caps, HOSE, T0)
    return caps


def run(caps: Caps, hours: float, airs: dict[str, ZoneAir] | None = None, begin_ms: int = T0) -> int:
    """Steps of ten minutes; returns where it ended."""
    for n in range(1, round(hours * 6) + 1):
        advance(caps, airs or {"middle": MIDDLE}, 0.0, HOSE, begin_ms + n * 10 * MINUTE)
    return begin_ms + round(hours * 6) * 10 * MINUTE


def test_a_hosing_in_still_air() -> None:
    """By hand: 0.15 mm at 0.390 mm a day lasts 9.2 h; with 0.1 mm to spare, 15.4 h."""
    caps = hosed()
    first = outlook(caps, HOSE, T0)
    assert first.dry_h == pytest.approx(0.15 / STILL_MM_H, rel=0.005) == pytest.approx(9.23, rel=0.005)
    assert first.harm_h == pytest.approx(15.4, rel=0.005)
    assert caps.expected_h == first.dry_h
    now = run(caps, 6.0)
    assert outlook(caps, HOSE, now).dry_h == pytest.approx(3.23, abs=0.05)
    now = run(caps, 6.0, begin_ms=now)
    assert outlook(caps, HOSE, now).dry_h == 0.0
    assert outlook(caps, HOSE, now).harm_h == pytest.approx(3.4, abs=0.1)


def test_the_windy_edge_decides() -> None:
    """2 m/s dry it 1 + 0.536 x 2 = 2.07 times as fast."""
    caps = hosed({"middle": MIDDLE, "windward": EDGE})
    first = outlook(caps, HOSE, T0)
    assert first.zone == "windward"
    assert first.dry_h == pytest.approx(9.23 / 2.072, rel=0.005)


def test_the_call_comes_its_notice_before_the_harm_and_ends_with_the_hose() -> None:
    caps, called_at, at = hosed(), None, T0
    while at < T0 + 24 * HOUR and called_at is None:
        at = run(caps, 1 / 6, begin_ms=at)
        caps.called = bool(is_called(caps, HOSE, outlook(caps, HOSE, at)))
        called_at = at if caps.called else None
    assert (called_at - T0) / HOUR == pytest.approx(15.4 - 1.0, abs=0.2)
    soak(caps, HOSE, at)
    assert is_called(caps, HOSE, outlook(caps, HOSE, at)) is False


def test_nothing_is_called_before_anybody_told_of_a_hosing() -> None:
    caps = Caps()
    now = run(caps, 48.0)
    assert outlook(caps, HOSE, now).harm_h == 0.0
    assert is_called(caps, HOSE, outlook(caps, HOSE, now)) is False


def test_nothing_is_known_once_the_air_has_been_unknown_for_an_hour() -> None:
    caps = hosed()
    advance(caps, {}, 0.0, HOSE, T0 + HOUR + MINUTE)
    assert outlook(caps, HOSE, T0 + HOUR + MINUTE) is None
    assert is_called(caps, HOSE, None) is None


def test_a_hosing_told_before_any_sensor_spoke_counts() -> None:
    caps = Caps()
    advance(caps, {}, 0.0, HOSE, T0)
    soak(caps, HOSE, T0)
    advance(caps, {"middle": MIDDLE}, 0.0, HOSE, T0 + MINUTE)
    assert outlook(caps, HOSE, T0 + MINUTE).dry_h == pytest.approx(9.2, abs=0.1)


def test_nozzles_give_water_too() -> None:
    """By hand: of 2 l 15 % come down on 100 kg x 0.04 m2 = 4 m2: 0.075 mm. What is over the film runs off."""
    assert fallen_mm(2.0, 100.0) == pytest.approx(0.075)
    assert fallen_mm(1.0, 0.0) == pytest.approx(0.15)
    caps = hosed()
    now = run(caps, 9.0)
    advance(caps, {"middle": MIDDLE}, 0.075, HOSE, now + MINUTE)
    assert outlook(caps, HOSE, now + MINUTE).dry_h == pytest.approx(0.23 + 0.075 / STILL_MM_H, abs=0.1)
    advance(caps, {"middle": MIDDLE}, 5.0, HOSE, now + 2 * MINUTE)
    assert caps.zones["middle"].water_mm == HOSE.film_mm


def test_a_look_of_a_person_teaches_the_pace_of_this_place() -> None:
    """Dry after half the time: it dries twice as fast; a look moves the pace half the way (in proportion):
    to the root of 2. Four more hours' hosings and it is near 2, where it is held."""
    caps, at = hosed(), T0
    at = run(caps, 9.23 / 2)
    assert seen_dry(caps, HOSE, at) == pytest.approx(9.23 / 2, abs=0.1)
    assert caps.pace == pytest.approx(2.0**0.5, rel=0.02)
    assert outlook(caps, HOSE, at).dry_h == 0.0
    for _ in range(12):
        soak(caps, HOSE, at)
        at = run(caps, 1.0, begin_ms=at)
        seen_dry(caps, HOSE, at)
    assert caps.pace == pytest.approx(2.0, rel=0.01)
    assert caps.pace <= 2.0


def test_a_look_without_a_hosing_teaches_nothing() -> None:
    caps = Caps()
    run(caps, 1.0)
    assert seen_dry(caps, HOSE, T0 + HOUR) is None
    assert caps.pace == 1.0


@pytest.mark.parametrize(("sprayed", "learnt"), [(0.0, True), (0.001, False)])
def test_the_air_tells_when_a_hosing_has_dried(sprayed, learnt) -> None:
    """Inside carries 1 g/kg more than outside; after the hose 3, for four hours, then 1 again. At the still
    rate four hours take 0.065 of 0.15 mm: it dries 2.3 times as fast, held at 2; the air moves the pace a
    quarter of the way, to 2 ** 0.25. Nozzles in between: nothing can be told."""
    caps, felt = Caps(), []
    for n in range(-60, 6 * 60):
        at = T0 + n * MINUTE
        advance(caps, {"middle": MIDDLE}, 0.0, HOSE, at)
        if n == 0:
            soak(caps, HOSE, at)
        excess = 0.003 if 0 <= n < 240 else 0.001
        felt.append(feel(caps, excess, sprayed if n == 100 else 0.0, at, HOSE))
    assert sum(felt) == learnt
    assert caps.pace == pytest.approx(2.0**0.25 if learnt else 1.0, rel=0.03)


def test_a_rise_too_small_to_tell_teaches_nothing() -> None:
    caps = Caps()
    for n in range(-60, 6 * 60):
        at = T0 + n * MINUTE
        advance(caps, {"middle": MIDDLE}, 0.0, HOSE, at)
        if n == 0:
            soak(caps, HOSE, at)
        assert not feel(caps, 0.0012 if 0 <= n < 240 else 0.001, 0.0, at, HOSE)
    assert caps.pace == 1.0


AIRS = st.builds(ZoneAir, st.floats(0.0, 40.0), st.floats(5.0, 100.0), st.floats(0.0, 15.0))


@given(st.lists(st.tuples(AIRS, st.floats(0.0, 0.1), st.integers(0, 20 * HOUR), st.booleans()), max_size=30))
def test_the_account_stays_within_its_bounds_and_the_pace_too(steps) -> None:
    caps, at = Caps(), T0
    for air, fallen, wait, hose in steps:
        at += wait
        advance(caps, {"middle": air}, fallen, HOSE, at)
        if hose:
            soak(caps, HOSE, at)
        elif wait % 3 == 0:
            seen_dry(caps, HOSE, at)
        water = caps.zones["middle"]
        assert -2 * HOSE.spare_mm <= water.water_mm <= HOSE.film_mm
        assert 0.5 <= caps.pace <= 2.0
        most = shade_mm_per_day(40.0, 5.0, 15.0) / 24
        assert 0.0 <= water.mm_per_h <= most
        first = outlook(caps, HOSE, at)
        assert 0.0 <= first.dry_h <= first.harm_h
