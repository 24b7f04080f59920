"""A week of a hundred sensors, a message every two minutes each: does the daemon grow?

A process of its own, since its resident memory is what is measured: `python -m tests.drills.week FOLDER
HOURS` prints it every hour, in kB. Virtual time goes on in steps of two minutes; a garbage collection
stands before each look, since it is growth that is asked for and not when Python sweeps. Source of the
figure: proc(5), VmRSS.
"""

import ctypes
import gc
import json
import subprocess
import sys
from pathlib import Path

from tests.drills.drill import Drill, Line, Size, Told, count

from gillhouse.clock import VirtualClock
from gillhouse.commands.run import COLLECT
from gillhouse.payloads import Message

ROOMS, SENSORS = 10, 10
HOURS = {Size.QUICK: 3, Size.FULL: 7 * 24}
WARM_HOURS = {Size.QUICK: 2, Size.FULL: 24}
"""Until then it fills what it fills once: half an hour of repeats, an hour's sums, a day's limits."""
MOST_MB = 2.0
EVERY_MIN = 2
START_MS = 1_794_304_800_000


def farm_text() -> str:
    lines = [
        "farm: {name: Week farm, zone: UTC, advise_only: no}",
        "broker: {host: 127.0.0.1, port: 1}",
        "store: {commit_every: 60 s}",
        "spaces:",
    ]
    lines += [
        f"  s{n}: {{name: Room {n}, kind: room, walk_in: no, volume_m3: 60, "
        "crop: {species: grey-oyster, stage: fruiting, kg: 240}}"
        for n in range(ROOMS)
    ]
    lines.append("sensors:")
    for room in range(ROOMS):
        for n in range(SENSORS):
            quantity, unit = (("humidity", "%"), ("temperature", "degC"), ("co2", "ppm"))[n % 3]
            lines.append(
                f"  s{room}-{n}: {{space: s{room}, zone: z{n // 3}, quantity: {quantity}, unit: '{unit}', "
                f"topic: w/{room}/{n}, format: json, path: /v, seq: /n, every: 120 s}}"
            )
    lines.append("relays:")
    lines += [
        f"  s{n}-mist: {{space: s{n}, role: mist, driver: memory, litres_per_h: 24}}\n"
        f"  s{n}-fan: {{space: s{n}, role: fan, driver: memory, air_m3_per_h: 250}}"
        for n in range(ROOMS)
    ]
    return "\n".join(lines) + "\n"


def value(minute: int, n: int) -> float:
    """Wanders within its band and sometimes out of it."""
    wave = (minute * 7 + n * 13) % 41 / 41
    return ((84 + 8 * wave), (14 + 3 * wave), (600 + 700 * wave))[n % 3]


def rss_kb() -> int:
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)  # so that what was freed is not counted as kept
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS"))


def child(folder: Path, hours: int) -> None:
    from tests.drills.virtual import MINUTE, VirtualHouse

    clock = VirtualClock(START_MS)
    house = VirtualHouse(folder, clock, farm_text())
    house.service.start()
    gc.set_threshold(*COLLECT)
    for minute in range(EVERY_MIN, hours * 60 + 1, EVERY_MIN):
        clock.advance_to(minute * MINUTE)
        house.settle()
        for room in range(ROOMS):
            for n in range(SENSORS):
                body = json.dumps({"v": round(value(minute, n), 2), "n": minute}).encode()
                house.service._message(Message(f"w/{room}/{n}", body, clock.now()), True)
        house.settle()
        if minute % 60 == 0:
            house.forget_clicks()
            print(rss_kb(), flush=True)
    house.service.stop()


def run(size: Size, folder: Path, told: Told) -> list[Line]:
    from tests.drills.house import environment

    hours, warm, found = HOURS[size], WARM_HOURS[size], []
    with subprocess.Popen(
        [sys.executable, "-m", "tests.drills.week", str(folder), str(hours)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment(),
    ) as process:  # fmt: skip
        assert process.stdout is not None
        for line in process.stdout:
            found.append(int(line))
            told(len(found) / hours)
    assert process.returncode == 0 and len(found) == hours
    growth_mb = (found[-1] - found[warm - 1]) * 1024 / 1e6
    assert growth_mb <= MOST_MB, f"grew by {growth_mb:.2f} MB: {found}"
    return [
        Line(
            "simulated hours; sensors; readings",
            f"{hours}; {ROOMS * SENSORS}; {count(hours * 60 // EVERY_MIN * ROOMS * SENSORS)}",
        ),
        Line(
            f"resident memory after {warm} h and at the end (MB)",
            f"{found[warm - 1] * 1024 / 1e6:.1f}, {found[-1] * 1024 / 1e6:.1f}",
        ),
        Line("growth (MB)", f"{growth_mb:.2f}", "<= 2"),
    ]


DRILL = Drill(
    "A week of a hundred sensors",
    "Virtual time, a message every two minutes from each, ten rooms with mist and fan.",
    run,
)

if __name__ == "__main__":
    child(Path(sys.argv[1]), int(sys.argv[2]))
