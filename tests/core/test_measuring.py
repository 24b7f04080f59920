"""A measuring run inside the whole farm: the real core steers a simulated room through a run and back.

The room shares no physics with the core (gillhouse.sim.room); what is true is read from it.
"""

from dataclasses import replace

import pytest

from core.farm_parts import Bench, farm, sensor, space
from core.measured_room import MeasuredRoom
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Link, LinkChange, Measure, Measured, Reading, Started
from gillhouse.core.measured import measured_or_label
from gillhouse.core.measurement import Measurement, believable
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import FarmSettings
from gillhouse.core.snapshot import to_plain

FOUND = Measurement(190.0, 0.4, 0.02, 440.0, 0.55, 1)
_TAIL = {Quantity.HUMIDITY: "rh", Quantity.TEMPERATURE: "temp", Quantity.CO2: "co2"}


def _settings() -> FarmSettings:
    made = farm(space(volume_m3=60.0, crop_kg=240.0), sensors=(sensor("room-door", Quantity.DOOR, "room"),))
    mist = replace(made.relays["room-mist"], litres_per_h=24.0)
    fan = replace(made.relays["room-fan"], air_m3_per_h=250.0)
    relays = {**made.relays, "room-mist": mist, "room-fan": fan}
    return replace(made, relays={name: relays[name] for name in ("room-mist", "room-fan")})


class Lived(Bench):
    """The core steers the simulated room; each half minute its sensors report."""

    def __init__(self, seed: int = 0) -> None:
        super().__init__(_settings())
        self.room = MeasuredRoom(seed, step_ms=2_000)
        self.room.heat = True
        self.doors = True

    def live(self, minutes: float) -> None:
        end = self.ms + int(minutes * 60_000)
        while self.ms < end:
            for _ in range(15):
                self.wait(2)
                for what in ("fan", "mist"):
                    self.room.switch(what, self.farm._state.relays[f"room-{what}"].on)
                self.room.run(2)
            for quantity, values in self.room.said.items():
                if values and values[-1][0] == self.room.ms:
                    self.give(Reading(f"room-{_TAIL[quantity]}", values[-1][1], self.now().wall_ms))
            if self.doors and self.ms % 60_000 == 0:
                self.give(Reading("room-door", 0.0, self.now().wall_ms))

    def begin(self) -> None:
        self.give(Measure("room", "ana"))

    @property
    def run(self) -> dict[str, object]:
        return self.farm.status(self.now())["measuring"]["room"]["run"]  # type: ignore[index]

    def told(self) -> list[str]:
        return [
            WORDS[event.reason].format(**event.facts)
            for _, event in self.events
            if event.reason is Reason.MEASURING
        ]


@pytest.fixture(scope="module")
def whole() -> Lived:
    lived = Lived()
    lived.live(10)
    lived.begin()
    for _ in range(60):
        lived.live(5)
        if not lived.run["running"]:
            break
    return lived


def test_a_whole_run_goes_through_its_phases_and_hands_back(whole: Lived) -> None:
    assert [words.removeprefix("being measured for ana: ") for words in whole.told()] == [
        "fan off, CO2 climbs",
        "fan on, until CO2 has settled",
        "fan on, mist in pulses far apart",
        "fan off again, CO2 climbs from low down",
        "done",
    ]
    measuring = [c for _, c in whole.commands if c.reason is Reason.MEASURING and c.on and not c.renewal]
    assert {c.relay for c in measuring} == {"room-fan", "room-mist"}
    assert all(c.causes for c in measuring)
    before = len(whole.commands)
    whole.live(120)
    after = [c for _, c in whole.commands[before:] if c.relay == "room-fan" and c.on]
    assert after, "the fan steers itself again"
    assert all(c.reason is not Reason.MEASURING for c in after)


def test_the_fan_rests_and_the_air_climbs_while_it_is_measured(whole: Lived) -> None:
    from_ms = whole.run["rest_from_ms"] - whole.now().wall_ms + whole.ms
    to_ms = whole.run["air_from_ms"] - whole.now().wall_ms + whole.ms
    blown = [b for b, e in whole.room.spans["fan"] if from_ms + 60_000 < b < to_ms - 60_000]
    assert blown == []
    assert whole.run["climbed_ppm"] > 250


def test_a_door_ends_it_and_the_fan_is_free_at_once() -> None:
    lived = Lived()
    lived.live(10)
    lived.begin()
    lived.live(20)
    assert lived.run["running"]
    lived.give(Reading("room-door", 1.0, lived.now().wall_ms))
    assert not lived.run["running"]
    assert lived.told()[-1] == "being measured for ana: given up: the door is open"


def test_a_lost_broker_and_a_restart_end_it() -> None:
    for end in (LinkChange(Link.BROKER, False), Started("test", "digest", True)):
        lived = Lived()
        lived.live(5)
        lived.begin()
        lived.live(2)
        lived.give(end)
        if isinstance(end, LinkChange):
            lived.wait(11)
        assert "given up" in lived.told()[-1]


def test_by_hand_and_twice_and_nowhere() -> None:
    lived = Lived()
    lived.live(5)
    lived.begin()
    lived.begin()
    assert "it is being measured already" in lived.told()[-1]
    lived.give(Measure("room", "beno", begin=False))
    assert lived.told()[-1].endswith("given up: ended by hand")
    out = lived.give(Measure("attic", "ana"))
    assert [(e.kind, e.reason) for e in out.events] == [(EventKind.REFUSED, Reason.UNKNOWN_SUBJECT)]


def test_a_silent_space_is_not_begun() -> None:
    bench = Bench(_settings())
    out = bench.give(Measure("room", "ana"))
    (event,) = [e for e in out.events if e.reason is Reason.MEASURING]
    assert event.kind is EventKind.REFUSED
    assert "no CO2 sensor of it reports" in WORDS[event.reason].format(**event.facts)


def test_a_snapshot_in_the_middle_of_a_run_goes_on_to_the_same_bytes() -> None:
    lived = Lived()
    lived.live(5)
    lived.begin()
    lived.live(12)
    twin = Farm.restore(_settings(), lived.farm.snapshot())
    done, said = len(lived.inputs), len(lived.commands)
    lived.live(10)
    outs = [twin.handle(seq, now, item) for seq, now, item in lived.inputs[done:]]
    assert twin.snapshot() == lived.farm.snapshot()
    assert [to_plain(c) for out in outs for c in out.commands] == [
        to_plain(c) for _, c in lived.commands[said:]
    ]


def test_measured_figures_stand_in_for_the_labels_and_go_again() -> None:
    bench = Bench(_settings())
    bench.give(Measured("room", "ana", FOUND))
    assert bench.farm._plan.settings.relays["room-fan"].air_m3_per_h == 190.0
    assert bench.farm._plan.settings.spaces["room"].leak_ach == 0.4
    kept = Farm.restore(_settings(), bench.farm.snapshot())
    assert kept._plan.settings.relays["room-fan"].air_m3_per_h == 190.0
    assert bench.farm.status(bench.now())["measuring"]["room"]["in_use"]["useful_share"] == 0.55  # type: ignore[index]
    bench.give(Measured("room", "ana", None))
    assert bench.farm._plan.settings.relays["room-fan"].air_m3_per_h == 250.0


@pytest.mark.parametrize("figures", [FOUND, None])
def test_a_fan_learnt_against_other_figures_is_learnt_anew(figures: Measurement | None) -> None:
    """It gave three quarters of its label; what it gives of the new figure nobody knows yet."""
    bench = Bench(_settings())
    bench.farm._state.spaces["room"].mist.air.fan.value = 0.76
    bench.give(Measured("room", "ana", figures))
    assert bench.farm._state.spaces["room"].mist.air.fan.value == 1.0


def test_two_fans_share_what_was_measured_as_their_labels_do() -> None:
    """250 and 150 of a label, 200 measured: 125 and 75. Water stays as labelled."""
    made = _settings()
    second = replace(made.relays["room-fan"], id="room-fan-2", air_m3_per_h=150.0)
    made = replace(made, relays={**made.relays, "room-fan-2": second})
    found = measured_or_label(made, {"room": replace(FOUND, fan_m3_per_h=200.0), "gone": FOUND}, {})
    half = measured_or_label(made, {}, {"room": 0.5})
    assert half.relays["room-fan"].air_m3_per_h == 125.0
    assert found.relays["room-fan"].air_m3_per_h == pytest.approx(125.0)
    assert found.relays["room-fan-2"].air_m3_per_h == pytest.approx(75.0)
    assert found.relays["room-mist"].litres_per_h == 24.0
    assert found.spaces["room"].intake.co2_ppm == 440.0


@pytest.mark.parametrize(
    "change",
    [{"fan_m3_per_h": 0.0}, {"leak_ach": -1.0}, {"intake_ppm": 50.0}, {"useful_share": 3.0},
     {"fan_m3_per_h": float("nan")}],
)  # fmt: skip
def test_figures_beyond_belief_are_not_put_to_use(change: dict[str, float]) -> None:
    bad = replace(FOUND, **change)
    assert not believable(bad)
    bench = Bench(_settings())
    out = bench.give(Measured("room", "ana", bad))
    assert out.events[0].kind is EventKind.REFUSED
    assert bench.farm._plan.settings.relays["room-fan"].air_m3_per_h == 250.0
