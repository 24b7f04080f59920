"""The circulation fan: on while two places are apart, off once they are near; worked by hand."""

from dataclasses import replace

import pytest

from core.farm_parts import Bench, farm, sensor
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import RelaySettings, Role
from gillhouse.core.stirring import EVEN_FROM, UNEVEN_FROM


def bench(**relay: object) -> Bench:
    fan = RelaySettings("stir", Role.CIRCULATION, "room", advise_only=False, least_on_ms=60_000, **relay)
    door = sensor("door-rh", Quantity.HUMIDITY, "room", "door", calibrated=False)
    return Bench(farm(sensors=(door,), relays=(fan,)))


def apart(trial: Bench, points: float) -> None:
    trial.every(60, 5, room_rh=90.0, door_rh=90.0 - points, room_temp=17.0, room_co2=700.0)


def test_it_runs_while_two_places_are_apart_and_rests_once_they_are_near():
    trial, far = bench(), UNEVEN_FROM[Quantity.HUMIDITY]
    apart(trial, far - 1)
    assert not trial.on("stir")
    apart(trial, far + 1)
    ((_, began),) = trial.on("stir")
    assert began.reason is Reason.UNEVEN
    assert WORDS[began.reason].format(**began.facts).startswith("humidity uneven: 7.0")
    apart(trial, EVEN_FROM * far + 1)
    assert not trial.off("stir")[1:], "between the two it goes on"
    apart(trial, EVEN_FROM * far - 1)
    assert len(trial.off("stir")) == 2  # the one at the start, and this


def test_one_sensor_says_nothing_of_evenness():
    fan = RelaySettings("stir", Role.CIRCULATION, "room", advise_only=False)
    trial = Bench(farm(relays=(fan,)))
    trial.every(60, 10, room_rh=70.0, room_temp=17.0, room_co2=700.0)
    assert not trial.on("stir")


@pytest.mark.parametrize("advise", [True, False])
def test_it_is_advised_like_every_other_relay(advise):
    trial = bench()
    settings = trial.farm._given
    relay = replace(settings.relays["stir"], advise_only=advise)
    trial = Bench(replace(settings, relays={**settings.relays, "stir": relay}))
    apart(trial, 10)
    assert [command.advise for _, command in trial.on("stir")] == [advise]
