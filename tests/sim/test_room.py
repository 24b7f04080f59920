"""The room model: balances closed, and figures that stand outside the project."""

import math
import time

import psychrolib
import pytest

from gillhouse.sim.moist import (
    dew_point_c,
    humidity_pct,
    ratio_of,
    saturation_pa,
    saturation_ratio,
    saturation_ratio_slope,
)
from gillhouse.sim.room import CO2_G_PER_L, Outside, Room, RoomPlan

psychrolib.SetUnitSystem(psychrolib.SI)

PLAN = RoomPlan(
    volume_m3=30.0,
    leak_m2=0.01,
    shell_m2=60.0,
    shell_w_m2k=0.6,
    structure_j_k=1.5e6,
    substrate_kg=300.0,
    crop_m2=12.0,
    floor_m2=12.0,
    breath_g_kgh=0.1,
)


def room(outside: Outside | None = None, **changes: float) -> Room:
    values = {name: getattr(PLAN, name) for name in RoomPlan.__slots__} | changes
    return Room(RoomPlan(**values), outside or Outside(10.0, 0.005, 425.0, 2.0), 17.0, 90.0)


# ---- moist air


@pytest.mark.parametrize("temperature_c", [0.5, 5.0, 12.0, 18.0, 24.0, 32.0, 40.0])
def test_saturation_agrees_with_psychrolib(temperature_c: float) -> None:
    """psychrolib 2.5.0 (Hyland-Wexler). Magnus is good to 0.4 %."""
    assert saturation_pa(temperature_c) == pytest.approx(psychrolib.GetSatVapPres(temperature_c), rel=0.004)


@pytest.mark.parametrize("temperature_c", [8.0, 18.0, 28.0])
@pytest.mark.parametrize("humidity", [60.0, 75.0, 90.0, 99.0])
def test_ratio_and_dew_point_agree_with_psychrolib(temperature_c: float, humidity: float) -> None:
    """All with a dew point over 0 C, where water and ice do not part."""
    expected = psychrolib.GetHumRatioFromRelHum(temperature_c, humidity / 100.0, 101_325.0)
    ratio = ratio_of(temperature_c, humidity)
    assert ratio == pytest.approx(expected, rel=0.005)
    assert humidity_pct(temperature_c, ratio) == pytest.approx(humidity, rel=1e-9)
    dew = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity / 100.0)
    assert dew_point_c(ratio) == pytest.approx(dew, abs=0.05)


def test_slope_is_the_derivative() -> None:
    full = saturation_ratio(18.0)
    by_difference = (saturation_ratio(18.01) - saturation_ratio(17.99)) / 0.02
    assert saturation_ratio_slope(18.0, full) == pytest.approx(by_difference, rel=1e-5)


# ---- balances


def drive_hard(space: Room, steps: int) -> None:
    """A restless half day: mist, fan, heater, cooler, door, all at odds."""
    for i in range(steps):
        drive = space.drive
        drive.mist_kg_s = 0.003 if i % 150 < 15 else 0.0
        drive.fan_m3_s = 0.05 if i % 400 < 120 else 0.0
        drive.moving = drive.fan_m3_s > 0.0
        drive.heater_w = 800.0 if i % 700 < 200 else 0.0
        drive.cooler_w = 1200.0 if 4000 < i < 4600 else 0.0
        drive.door_open = 2000 < i < 2400
        space.outside.temperature_c = 10.0 + 12.0 * math.sin(i / 3000.0)
        space.step()


@pytest.mark.parametrize("fall_m", [0.5, 2.0])
def test_water_is_neither_made_nor_lost(fall_m: float) -> None:
    space = room(fall_m=fall_m)
    before = space.water_kg()
    drive_hard(space, 8000)
    book = space.ledger
    came = book.sprayed_kg + book.air_kg + book.crop_kg
    went = book.drained_kg + book.blown_kg + book.coil_kg
    assert book.sprayed_kg > 1.0
    assert book.coil_kg > 0.1
    assert space.water_kg() - before == pytest.approx(came - went, abs=1e-9)


def test_heat_is_neither_made_nor_lost() -> None:
    """Every gram that evaporates or condenses pays or gets its latent heat, from whichever surface."""
    space = room()
    before = space.heat_j()
    drive_hard(space, 8000)
    turned_over_j = abs(space.ledger.heat_j) + 1e6
    assert space.heat_j() - before == pytest.approx(space.ledger.heat_j, abs=1e-6 * turned_over_j)


def test_carbon_dioxide_is_neither_made_nor_lost() -> None:
    space = room()
    before = space.co2_ppm
    drive_hard(space, 8000)
    held_litres = (space.co2_ppm - before) * PLAN.volume_m3 / 1000.0
    assert held_litres == pytest.approx(space.ledger.co2_litres, abs=1e-6)


def sealed(air_changes_per_h: float, breath_g_h: float, start_ppm: float) -> Room:
    """A tight room with one fan and a steady source that does not warm."""
    space = room(leak_m2=0.0, q10=1.0, breath_g_kgh=breath_g_h / 300.0)
    space.drive.fan_m3_s = air_changes_per_h * 30.0 / 3600.0
    space.co2_ppm = start_ppm
    return space


@pytest.mark.parametrize(
    ("air_changes", "breath_g_h", "start_ppm", "hours", "published_ppm"),
    [
        # physics reference check values at 18 C: built up at 0.5 air changes from 425 ppm, 30 g/h in 30 m3.
        (0.5, 30.0, 425.0, 1.0, 852.2),
        (0.5, 30.0, 425.0, 4.0, 1363.8),
        (4.0, 30.0, 425.0, 6.0, 560.7),
    ],
)
def test_build_up_as_batterman(
    air_changes: float, breath_g_h: float, start_ppm: float, hours: float, published_ppm: float
) -> None:
    """Batterman 2017: C(t) = Css + (C0 - Css) exp(-N t), Css = Co + G / (N V).

    The room uses 1.83 g/l (20 C); the check values 1.842 g/l (18 C): 0.7 % of the rise.
    """
    space = sealed(air_changes, breath_g_h, start_ppm)
    for _ in range(int(hours * 1800)):
        space.step()
    source_ppm_h = breath_g_h / CO2_G_PER_L / 30.0 * 1000.0
    steady = 425.0 + source_ppm_h / air_changes
    exact = steady + (start_ppm - steady) * math.exp(-air_changes * hours)
    assert space.co2_ppm == pytest.approx(exact, rel=0.001)
    assert space.co2_ppm == pytest.approx(published_ppm, rel=0.008)


def test_purge_time_as_batterman() -> None:
    """1500 to 800 ppm at 10 air changes without a source: 6.32 min, ln(1075 / 375) / 10 h."""
    space = sealed(10.0, 1e-9, 1500.0)
    seconds = 0.0
    while space.co2_ppm > 800.0:
        space.step()
        seconds += 2.0
    assert seconds / 60.0 == pytest.approx(6.32, abs=0.05)


def test_a_sealed_room_rises_as_published() -> None:
    """30 g/h in 30 m3, sealed: 542.9 ppm an hour at 18 C (physics check values)."""
    space = sealed(0.0, 30.0, 425.0)
    for _ in range(1800):
        space.step()
    assert space.co2_ppm - 425.0 == pytest.approx(542.9, rel=0.01)


# ---- evaporation and drops


@pytest.mark.parametrize(
    ("temperature_c", "humidity"), [(4.0, 96.0), (4.0, 76.0), (16.0, 96.0), (16.0, 76.0), (10.0, 86.0)]
)
def test_caps_lose_water_within_the_published_range(temperature_c: float, humidity: float) -> None:
    """Mahajan et al., J. Food Eng. 2008 (abstract): 0.14 to 2.5 mg/cm2 h between 96 and 76 %, 4 and 16 C.

    The range is of harvested mushrooms; ours stand on a substrate that warms them a little.
    """
    space = room(Outside(temperature_c, ratio_of(temperature_c, humidity), 425.0), leak_m2=0.0)
    space.temperature_c = space.structure_c = space.substrate_c = temperature_c
    space.ratio = ratio_of(temperature_c, humidity)
    space.step(0.01)
    mg_cm2_h = space.ledger.crop_kg * 1e6 / (PLAN.crop_m2 * 1e4) / 0.01 * 3600.0
    assert 0.14 <= mg_cm2_h <= 2.5


def flown_share(drop_um: float, humidity: float) -> float:
    """Share of a pulse that evaporates before it lands, in air held where it is."""
    space = room(Outside(18.0, ratio_of(18.0, humidity), 425.0), drop_um=drop_um, leak_m2=0.0)
    for i in range(120):
        space.temperature_c, space.ratio = 18.0, ratio_of(18.0, humidity)
        space.drive.mist_kg_s = 0.001 if i < 5 else 0.0
        space.step()
    return space.ledger.flown_kg / (space.ledger.flown_kg + space.ledger.fallen_kg)


def test_big_drops_fall_and_small_ones_vanish() -> None:
    """About half at 50-60 um and 88-90 %, over 0.9 at 20-25, under 0.2 at 90-100 (room model)."""
    assert 0.35 < flown_share(55.0, 89.0) < 0.65
    assert flown_share(22.0, 89.0) > 0.9
    assert flown_share(95.0, 89.0) < 0.2
    assert flown_share(55.0, 99.5) < 0.1


def test_fall_speed_is_stokes() -> None:
    """A 50 um drop falls 0.0756 m/s by Stokes's law (droplet table of the physics reference)."""
    space = room(fall_m=2.0, drop_um=50.0, leak_m2=0.0)
    space.temperature_c, space.ratio = 18.0, saturation_ratio(18.0)  # nothing evaporates
    space.drops_kg = 0.001
    space.step(0.1)
    assert space.ledger.fallen_kg / 0.001 / 0.1 * 2.0 == pytest.approx(0.0756, rel=0.01)


def test_misting_cools_along_the_wet_bulb() -> None:
    """30 C, 35 %: nothing sprayed can cool air below its wet bulb, 19.04 C (psychrolib)."""
    hot = Outside(30.0, ratio_of(30.0, 35.0), 425.0)
    space = Room(
        RoomPlan(
            volume_m3=30.0,
            leak_m2=0.0,
            shell_m2=1e-6,
            shell_w_m2k=0.0,
            structure_j_k=1e6,
            substrate_kg=1e-6,
            crop_m2=1e-9,
            floor_m2=1e-6,
            breath_g_kgh=0.0,
            air_factor=1.0,
            skin_w_k=0.0,
            drop_um=10.0,
        ),
        hot,
        30.0,
        35.0,
    )
    space.drive.mist_kg_s = 0.0005
    for _ in range(1500):
        space.step()
    wet_bulb = psychrolib.GetTWetBulbFromRelHum(30.0, 0.35, 101_325.0)
    assert space.temperature_c == pytest.approx(wet_bulb, abs=0.4)
    assert space.humidity_pct > 97.0


def test_a_wet_cap_dries_in_hours_not_minutes() -> None:
    """30 g/m2 at 90 % needs 3 to 5 h (room reference, computed there)."""
    space = room(Outside(16.0, ratio_of(16.0, 90.0), 425.0), leak_m2=0.0)
    space.crop_film_kg = 0.030 * PLAN.crop_m2
    hours = 0.0
    while space.crop_film_kg > 0.0:
        space.temperature_c = space.substrate_c = 16.0
        space.ratio = ratio_of(16.0, 90.0)
        space.step()
        hours += 2.0 / 3600.0
    assert 2.5 < hours < 5.5


def dew_after_heavy_mist(shell_w_m2k: float) -> tuple[float, Room]:
    space = room(Outside(-10.0, 0.001, 425.0), leak_m2=0.0, shell_w_m2k=shell_w_m2k)
    space.drive.heater_w = 3000.0
    space.drive.mist_kg_s = 0.0003
    for _ in range(7200):
        space.step()
    return dew_point_c(space.ratio), space


def test_cold_walls_wring_water_out() -> None:
    """The coldest inner surface caps the dew point, whatever is sprayed."""
    cold_dew, cold = dew_after_heavy_mist(4.0)
    warm_dew, _ = dew_after_heavy_mist(0.1)
    assert cold.floor_film_kg > 0.5
    assert cold_dew < warm_dew - 5.0


def test_a_night_of_three_spaces_is_fast() -> None:
    """21,600 steps each; the trial run may not wait for its own physics."""
    begun = time.process_time()
    for _ in range(3):
        space = room()
        for i in range(21_600):
            space.drive.mist_kg_s = 0.003 if i % 100 < 4 else 0.0
            space.step()
    assert time.process_time() - begun < 3.0
