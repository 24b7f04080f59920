"""A space at its limit: told once a day, with what is short, and not where something else holds it back."""

from dataclasses import replace

import pytest

from core.farm_parts import Bench, farm, space
from gillhouse.core.alarm_kinds import KINDS

HOUR_MS = 3_600_000


def reports(bench: Bench, hours: float, rh: float, temp: float = 17.0, co2: float = 700.0) -> None:
    """The same air, whatever is done: a digit of noise keeps the sensors from looking frozen. Only stale air
    answers the fan, which brings it down to `co2` and no further; else it would look like a dead one."""
    over = max(co2 - 1000.0, 0.0)
    for n in range(int(hours * 60)):
        noise = 0.1 * (n % 3)
        bench.read(room_rh=rh + noise, room_temp=temp + noise, room_co2=round(co2 + over + n % 7))
        bench.wait(60)
        runs = [command.on for _, command in bench.commands if command.relay == "room-fan"]
        over = over * 0.9 if runs and runs[-1] else over + (30.0 if over else 0.0)


def said(bench: Bench) -> list[tuple[float, str]]:
    """Hours and transitions of what a person hears of it."""
    return [
        (round(at / HOUR_MS, 1), notice.facts.get("role"))
        for at, notice in bench.notices
        if notice.kind == "at-capacity" and notice.announce
    ]


def test_mist_that_cannot_keep_up_is_told_after_its_delay_and_once_a_day():
    # Leaks take what the nozzles bring, by their labels; tighter, it would look like blocked nozzles.
    bench = Bench(farm(space(leak_ach=5.0)))
    reports(bench, 26, rh=82.0)
    first, second = said(bench)
    assert first == (pytest.approx(KINDS["at-capacity"].on_delay_ms / HOUR_MS, abs=0.1), "mist")
    assert second[0] == pytest.approx(first[0] + 24, abs=0.1)


def test_air_in_its_band_is_at_no_limit():
    bench = Bench(farm())
    reports(bench, 2, rh=90.0)
    assert said(bench) == []


@pytest.mark.parametrize(
    ("air", "role"), [({"co2": 1900.0}, "fan"), ({"temp": 11.0}, "heater")], ids=["fan", "heater"]
)
def test_fan_and_heater_too(air, role):
    bench = Bench(farm())
    reports(bench, 6, rh=90.0, **air)
    assert [what for _, what in said(bench)] == [role]


def test_a_relay_that_is_only_advised_is_at_no_limit():
    settings = farm()
    relays = {id: replace(relay, advise_only=True) for id, relay in settings.relays.items()}
    bench = Bench(replace(settings, relays=relays))
    reports(bench, 2, rh=82.0)
    assert said(bench) == []
