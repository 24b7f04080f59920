"""What does not fit, by hand: a tent of 10 m3 (11.9 kg of air), 6 l/h of mist, a fan of 60 m3/h, looked at in
half minutes. How soon it is seen in a whole room, and how seldom falsely, is the bench's (hold the room)."""

from dataclasses import replace
from math import exp

import pytest

from gillhouse.core.effect import EffectPlan, EffectState, Look, Misfit, misfits

PLAN = EffectPlan(volume_m3=10.0, litres_per_h=6.0, fan_m3_per_h=60.0, leak_m3_per_h=3.0)
START = Look(0, 0.0120, 88.0, False, False, 900.0, 0.0060, 430.0, 0, 0, False)


def after(minutes: float, *, mist: float = 0.0, fan: float = 0.0, ratio: float = 0.0, co2: float = 0.0,
          **more: object) -> tuple[EffectState, dict[Misfit, bool | None]]:  # fmt: skip
    """Looks for so long; mist and fan on for a share of the time; water and CO2 changed a minute."""
    state, found = EffectState(), {}
    for n in range(int(minutes * 2) + 1):
        ms = n * 30_000
        look = replace(
            START, mono_ms=ms, mist_ms=int(ms * mist), fan_ms=int(ms * fan),
            ratio=0.0120 + ratio * ms / 60_000, co2_ppm=900.0 + co2 * ms / 60_000, **more,
        )  # type: ignore[arg-type]  # fmt: skip
        found = misfits(PLAN, state, look)
    return state, found


def test_dry_air_that_gets_drier_under_much_mist_does_not_fit() -> None:
    """Half of five minutes: 0.25 kg sprayed, 0.0625 reach the air at the least, leaks take 0.003: 5 g/kg."""
    assert after(6, mist=0.5, ratio=-0.0001, dry=True)[1][Misfit.MIST_NOTHING] is True
    assert after(6, mist=0.5, ratio=-0.0001, dry=False)[1][Misfit.MIST_NOTHING] is False
    assert after(6, mist=0.0, ratio=-0.0001, dry=True)[1][Misfit.MIST_NOTHING] is False
    assert after(6, mist=0.5, ratio=0.0015, dry=True)[1][Misfit.MIST_NOTHING] is False


def test_a_fan_may_take_what_little_mist_brings() -> None:
    """A tenth of the time: 0.0125 kg reach the air; the fan takes 1.5 x 5 m3 x 1.19 x 6 g/kg = 0.05 kg."""
    assert after(6, mist=0.1, fan=1.0, ratio=-0.0001, dry=True)[1][Misfit.MIST_NOTHING] is False


def test_water_that_nobody_asked_for_does_not_fit() -> None:
    """0.3 g/kg a minute for four minutes is 1.2 g/kg, with the mist off all the while."""
    assert after(7, ratio=0.0003)[1][Misfit.MIST_UNASKED] is True
    assert after(7, ratio=0.0003, mist=0.3)[1][Misfit.MIST_UNASKED] is False
    assert after(7, ratio=0.0003, intake_ratio=0.0140)[1][Misfit.MIST_UNASKED] is False


@pytest.mark.parametrize(("full_min", "found"), [(12, True), (6, False)])
def test_air_that_fills_up_with_the_mist_off_does_not_fit(full_min: int, found: bool) -> None:
    """A sensor at its stop can show no rise, but how it came there. One that was near it, or stands there
    from the first, is rather wet."""
    assert filled(90.0, full_min) is found
    assert filled(96.0, full_min) is False
    assert after(30, full=True)[1][Misfit.MIST_UNASKED] is False


def filled(from_pct: float, full_min: int) -> bool | None:
    """Six minutes as it was, with a last pulse, then full for so long."""
    state, found = EffectState(), None
    for n in range(12 + full_min * 2 + 1):
        full = n > 12
        look = replace(
            START, mono_ms=n * 30_000, full=full, humidity_pct=100.0 if full else from_pct,
            mist_ms=8_000 if n >= 12 else 0,
        )  # fmt: skip
        found = misfits(PLAN, state, look)[Misfit.MIST_UNASKED]
    return found


def test_co2_that_rises_while_the_fan_runs_does_not_fit() -> None:
    """0.3 of 6 changes an hour, four minutes, 470 ppm over the intake: at least 56 ppm should be gone."""
    assert after(7, fan=1.0, co2=6.0)[1][Misfit.FAN_NOTHING] is True
    assert after(7, fan=1.0, co2=-15.0)[1][Misfit.FAN_NOTHING] is False
    assert after(7, fan=0.1, co2=6.0)[1][Misfit.FAN_NOTHING] is False, "a tenth of the time shows nothing yet"


def test_co2_that_falls_with_the_fan_off_does_not_fit() -> None:
    """25 ppm a minute for four minutes; leaks, taken twice, explain 0.6 an hour of 420 ppm: 17 ppm."""
    assert after(7, co2=-25.0)[1][Misfit.FAN_UNASKED] is True
    assert after(7, co2=-10.0)[1][Misfit.FAN_UNASKED] is False
    assert after(7, co2=-25.0, fan=0.5)[1][Misfit.FAN_UNASKED] is None


def test_what_a_late_sensor_still_shows_of_a_run_is_not_unasked() -> None:
    """A strong fan in a small tent takes 240 ppm in a minute; a sensor of 75 s shows half of that after the
    run's end: of 240 exp(-t/75 s) to come, 108 ppm after a minute. Nothing more comes in, nothing is told."""
    state, told = EffectState(), []
    for n in range(33):  # four minutes at rest, one of the fan, eleven at rest again
        ran_ms = min(max(n - 8, 0), 2) * 30_000
        passed_s = max(n - 8, 0) * 30
        co2 = 900.0 - 240.0 * (1.0 - exp(-passed_s / 75.0))
        found = misfits(PLAN, state, replace(START, mono_ms=n * 30_000, fan_ms=ran_ms, co2_ppm=co2))
        told.append(found[Misfit.FAN_UNASKED])
    assert True not in told
    assert told[-1] is False, "long after the run it is judged again"


def test_an_open_door_explains_everything_and_for_a_while() -> None:
    state, found = after(7, co2=-25.0, door_open=True)
    assert set(found.values()) == {None}
    later = replace(START, mono_ms=state.looks[-1].mono_ms + 300_000)
    assert set(misfits(PLAN, state, later).values()) == {None}
    much_later = replace(START, mono_ms=state.looks[-1].mono_ms + 600_000)
    assert misfits(PLAN, state, much_later)[Misfit.FAN_UNASKED] is not True


@pytest.mark.parametrize("gone", [{"ratio": None}, {"co2_ppm": None}])
def test_without_readings_nothing_is_said(gone: dict[str, None]) -> None:
    state = EffectState()
    for n in range(20):
        found = misfits(PLAN, state, replace(START, mono_ms=n * 30_000, mist_ms=n * 15_000, dry=True, **gone))
    mist, fan = (Misfit.MIST_NOTHING, Misfit.MIST_UNASKED), (Misfit.FAN_NOTHING, Misfit.FAN_UNASKED)
    own = mist if "ratio" in gone else fan
    assert {found[misfit] for misfit in own} == {None}
    assert len(state.looks) <= 26


def stops_and_goes(felt: float) -> bool | None:
    """CO2 rising 8 ppm a minute, a fan on for three minutes in every six, taking `felt` of what its label
    says: one change in ten minutes of 500 ppm, 50 ppm a minute. Three ppm of noise to and fro."""
    state, ppm, fan_ms, found = EffectState(), 900.0, 0.0, None
    for n in range(40):
        on = n % 12 >= 6
        look = replace(START, mono_ms=n * 30_000, fan_ms=fan_ms, co2_ppm=round(ppm + 3.0 * (-1) ** n))
        found = misfits(PLAN, state, look)[Misfit.FAN_NOTHING]
        ppm += 4.0 - (25.0 * felt if on else 0.0)
        fan_ms += 30_000.0 if on else 0.0
    return found


@pytest.mark.parametrize(("felt", "dead"), [(0.0, True), (0.6, False), (1.0, False)])
def test_a_fan_whose_runs_do_not_show_is_dead_long_before_the_air_is_stale(felt: float, dead: bool) -> None:
    assert stops_and_goes(felt) is dead
