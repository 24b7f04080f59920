"""One cut of the mains is one call: sensors that go with it are excused, and have their time when it is back.

Worked by hand from the rules: 30 s until the mains call, ten minutes for router and boards after the return.
"""

from core.farm_parts import Bench
from failsafe.farms import CALM, by_hand, calls, contact, guarded, state_of
from gillhouse.core.guarding import BOOT_MS
from gillhouse.core.inputs import Act, Link, LinkChange
from gillhouse.core.outputs import Transition
from gillhouse.core.quantities import Quantity


def cut() -> tuple[Bench, int]:
    """Two hours without mains; returns the bench just after its return, and when that was (s)."""
    bench = Bench(guarded(contact("power", Quantity.MAINS, None)))
    bench.read(power=1.0)
    bench.every(30, 6, room_rh=90.0, **CALM)
    bench.read(power=0.0)
    bench.wait(7200)
    bench.read(power=1.0)
    return bench, bench.ms // 1000


def announced(bench: Bench) -> list[str]:
    return [one.kind for _, one in bench.notices if one.announce and one.transition.value == "ACT"]


def test_sensors_that_went_with_the_mains_call_nobody() -> None:
    bench, back_s = cut()
    assert announced(bench) == ["mains-off"]
    bench.wait(400)  # the router comes last
    bench.every(30, 10, room_rh=90.0, **CALM)
    assert announced(bench) == ["mains-off"]
    assert calls(bench, "mains-off") == [210]
    assert back_s == 7380


def test_a_sensor_that_stays_away_afterwards_is_told_in_its_time() -> None:
    bench, back_s = cut()
    bench.wait(3600)
    first = min(at for at in calls(bench, "sensor-silent") if at > back_s)
    assert first == back_s + BOOT_MS // 1000 + 120
    assert "sensor-silent" in announced(bench)


def test_the_router_that_went_with_the_mains_and_comes_last_calls_nobody() -> None:
    """Contact that is lost is called for after 2 min and over after 2; both ends fall on one moment here."""
    bench = Bench(guarded(contact("power", Quantity.MAINS, None)))
    bench.read(power=1.0)
    bench.give(LinkChange(Link.BROKER, True))
    bench.every(30, 6, room_rh=90.0, **CALM)
    bench.read(power=0.0)
    bench.give(LinkChange(Link.BROKER, False))
    bench.wait(7200)
    bench.give(LinkChange(Link.BROKER, True))
    bench.read(power=1.0)
    bench.every(30, 20, room_rh=90.0, **CALM)
    assert announced(bench) == ["mains-off"]
    assert not [one for _, one in bench.notices if one.kind == "broker-lost" and one.announce]
    assert state_of(bench, "broker-lost:broker") == "A"


def test_mains_somebody_has_seen_to_be_gone_are_as_new_after_four_hours_and_not_one() -> None:
    bench = Bench(guarded(contact("power", Quantity.MAINS, None)))
    bench.read(power=1.0)
    bench.read(power=0.0)
    bench.wait(60)
    bench.give(by_hand(Act.ACK, "mains-off:power"))
    bench.wait(5 * 3600)
    assert calls(bench, "mains-off", Transition.REALARM) == [60 + 4 * 3600]
