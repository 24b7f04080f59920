"""A shared pump is never told to run on against shut valves longer than its own least run.

The bound is worked by hand from the commands alone: a lease of the pump may end when the last valve's does,
or when the pump's least run is over, whichever is later.
"""

from gillhouse.config import load_files
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import DEADLINE, Due, Input, Link, LinkChange, Reading, Started
from gillhouse.core.instant import Instant

LEAST_ON_MS = 20_000
FARM = """\
farm: {name: Test farm, zone: UTC, advise_only: no}
spaces:
  tent: {name: Tent, kind: tent, walk_in: no, volume_m3: 9,
         crop: {species: lions-mane, stage: fruiting, kg: 40}}
sensors:
  tent-rh: {space: tent, quantity: humidity, unit: "%", topic: t/rh, format: number, every: 10 s,
            calibrated: yes}
  tent-temp: {space: tent, quantity: temperature, unit: degC, topic: t/t, format: number, every: 10 s}
relays:
  tent-mist: {space: tent, role: mist, driver: memory, litres_per_h: 4, pulse: 4 s, pulse_gap: 45 s}
  pump: {role: pump, driver: memory, least_on: 20 s}
supplies:
  water: {pump: pump, valves: [tent-mist], most_at_once: 1}
"""


def test_no_lease_of_the_pump_outlasts_its_valves_and_its_least_run() -> None:
    farm = Farm(load_files({"farm.yaml": FARM}).farm)
    now, seq = Instant(1_760_000_000_000, 0), 0
    valve_end = pump_since = 0
    pump_on, runs = False, 0

    def give(item: Input) -> None:
        nonlocal seq, valve_end, pump_since, pump_on, runs
        seq += 1
        for command in sorted(farm.handle(seq, now, item).commands, key=lambda one: one.relay == "pump"):
            end = now.mono_ms + command.lease_ms
            if command.relay == "tent-mist":
                valve_end = end
                continue
            if command.on and not pump_on:
                pump_since, runs = now.mono_ms, runs + 1
            pump_on = command.on
            assert not command.on or end <= max(valve_end, pump_since + LEAST_ON_MS)

    for item in (Started("test", "", True), LinkChange(Link.BROKER, True)):
        give(item)
    for at_ms in range(10_000, 3_600_000, 10_000):
        while (due := farm.next_deadline_ms()) is not None and due < at_ms:
            now = now.later(due - now.mono_ms)
            give(Due(DEADLINE, now.wall_ms))
        now = now.later(at_ms - now.mono_ms)
        give(Reading("tent-temp", 18.0 + at_ms // 10_000 % 3 / 10, now.wall_ms))
        give(Reading("tent-rh", 80.0 + at_ms // 10_000 % 3 / 10, now.wall_ms))
    assert runs > 10, "the pump ran"
