"""The trial shows proof inputs as true loads would: with the relay, and against it when it is stuck."""

from core.farm_parts import farm
from failsafe.farms import contact, proved_by, with_relays
from gillhouse.core.quantities import Quantity
from gillhouse.sim.plant import House
from gillhouse.sim.weather import Weather


def test_a_proof_follows_the_load_not_the_relay():
    flow = contact("flow", Quantity.FLOW)
    leak = contact("leak", Quantity.LEAK)
    settings = with_relays(farm(sensors=(flow, leak)), room_mist=proved_by("flow"))
    house = House(settings, Weather(1, 20, 2), 1)
    said = [house.sensors["flow"].says()]
    house.switch("room-mist", True, 1_000)
    said.append(house.sensors["flow"].says())
    house.stick("room-mist", True, 2_000)
    house.switch("room-mist", False, 3_000)
    said.append(house.sensors["flow"].says())
    assert said == [0.0, 1.0, 1.0]
    assert house.sensors["leak"].says() == 0.0
