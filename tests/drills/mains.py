"""Mains off for two hours, the box on its battery, the router back last: the whole service, and the morning.

The broker and the receiver of calls are real, time is virtual. What must hold: one call; nothing switched
before the mains are heard to be back, then one load after the other, five seconds apart (our own choice, as
in docs/reference/failsafe.md, F21); and one sentence in the night's report that says what the crop went
through. Every figure of the sentence is one of those the boards were made to send below.
"""

import json
from contextlib import suppress
from datetime import UTC
from pathlib import Path

from tests.drills.clocks import utc
from tests.drills.drill import Drill, Line, Size, Told, count
from tests.drills.virtual import MINUTE, VirtualHouse

from gillhouse.audit.html import as_html
from gillhouse.audit.night import Window
from gillhouse.audit.record import as_json
from gillhouse.audit.report import night_of
from gillhouse.audit.text import as_text
from gillhouse.clock import VirtualClock
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.payloads import Message
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from servers import HttpReceiver, MosquittoBroker, wait_until

BEGIN = utc("2026-12-09T23:00:00")
"""The mains go ten minutes later; the router is back six minutes after them."""
BEFORE, WITHOUT, ROUTER, AFTER = 10, 120, 6, 60
"""Minutes."""
LINK_S = 30.0
APART_MS = 5_000
Air = dict[str, tuple[float, float, float]]
RIGHT: Air = {"tent": (90.0, 17.0, 700.0), "room": (90.0, 17.0, 700.0)}
WORN: Air = {"tent": (74.0, 12.4, 1240.0), "room": (78.0, 11.2, 1100.0)}
"""Humidity, temperature, CO2 as the boards find them when they are back."""
MEND = 20
"""In equal steps all is right in so many minutes: the tent is over 85 % with the 14th of them (74 + 14 x 0.8
= 85.2), the room with the 12th (78 + 12 x 0.6 = 85.2); warm and fresh enough they are before."""
SENTENCE = (
    "MAINS off 23:10-01:16 (2 h 06 min): "
    "Tent driest 74 %, CO2 worst 1240 ppm, coldest 12.4 C (nothing seen for 2 h 04 min), right again 01:30; "
    "Room driest 78 %, CO2 worst 1100 ppm, coldest 11.2 C (nothing seen for 2 h 04 min), right again 01:28."
)
"""126 minutes, for 2.25 of which the reading of 23:09 holds (3.25 minutes): 123.75 were not seen."""

SPACE = """\
  {id}: {{name: {name}, kind: tent, walk_in: yes, volume_m3: 9,
    crop: {{species: lions-mane, stage: fruiting, kg: 40}},
    bands: {{humidity: {{low: 85, high: 96}}, temperature: {{low: 14, high: 20}}, co2: {{high: 1000}}}}}}
"""
SENSORS = """\
  {id}-rh: {{space: {id}, quantity: humidity, unit: "%", topic: "{id}/air", format: json, path: /rh, seq: /n,
    every: 1 min, calibrated: yes}}
  {id}-temp: {{space: {id}, quantity: temperature, unit: degC, topic: "{id}/air", format: json, path: /t,
    seq: /n, every: 1 min}}
  {id}-co2: {{space: {id}, quantity: co2, unit: ppm, topic: "{id}/air", format: json, path: /co2, seq: /n,
    every: 1 min}}
"""
RELAYS = """\
  {id}-mist: {{space: {id}, role: mist, driver: memory, litres_per_h: 4, mains: power}}
  {id}-fan: {{space: {id}, role: fan, driver: memory, air_m3_per_h: 90, mains: power}}
  {id}-heater: {{space: {id}, role: heater, driver: memory, mains: power}}
"""
FARM = """\
farm: {{name: Mains farm, zone: UTC, advise_only: no}}
broker: {{host: 127.0.0.1, port: {port}}}
spaces:
{spaces}
sensors:
  power: {{quantity: mains, topic: board/power, format: words, words: {{present: "on", gone: "off"}},
    every: 1 min, on_change: yes}}
{sensors}
relays:
{relays}
channels: {{hook: {{kind: webhook, url: "{url}"}}}}
people:
  ana: {{name: Ana, reach: [{{channel: hook}}], quiet: {{start: "22:00", end: "06:00"}}}}
"""
LOADS = tuple(f"{space}-{load}" for space in RIGHT for load in ("mist", "fan", "heater"))


def farm_text(broker: MosquittoBroker, calls: HttpReceiver) -> str:
    return FARM.format(
        port=broker.port,
        url=calls.url,
        spaces="".join(SPACE.format(id=one, name=one.title()) for one in RIGHT),
        sensors="".join(SENSORS.format(id=one) for one in RIGHT),
        relays="".join(RELAYS.format(id=one) for one in RIGHT),
    )


class House(VirtualHouse):
    """Two spaces behind one supply."""

    def send(self, topic: str, payload: bytes) -> None:
        self.service._message(Message(topic, payload, self.clock.now()), True)
        self.settle()

    def report(self, air: Air) -> None:
        """All boards once, and a minute passes; the last digits tremble, as of live sensors."""
        self._n += 1
        self.send("board/power", b"on")
        for space, (rh, temp, co2) in air.items():
            body = {"rh": rh + self._n % 3 / 10, "t": temp + self._n % 2 / 100, "co2": co2 + self._n % 9 / 20}
            self.send(f"{space}/air", json.dumps(body | {"n": self._n}).encode())
        self.minutes(1)

    def broker_is(self, up: bool) -> bool:
        links = self.service.status()["links"]
        return bool(links.get("broker", {}).get("up")) is up

    def minutes(self, how_many: float) -> None:
        self.until(self.clock.now().mono_ms + round(how_many * MINUTE))

    def link(self) -> None:
        """An attempt comes within a minute; the link itself is made in real time."""
        for _ in range(12):
            if self.service.link.connected:
                break
            self.until(self.clock.now().mono_ms + 5_000)
            with suppress(AssertionError):
                wait_until(lambda: self.service.link.connected, 0.3)
        wait_until(lambda: self.broker_is(True), LINK_S, "the link")
        self.settle()


def mended(share: float) -> Air:
    """Between worn and right: 0 to 1."""
    return {
        space: tuple(a + (b - a) * share for a, b in zip(worn, RIGHT[space], strict=True))  # type: ignore[misc]
        for space, worn in WORN.items()
    }


def lived(house: House, broker: MosquittoBroker) -> int:
    """The night. Returns when the mains were heard to be back, monotonic ms."""
    wait_until(lambda: house.broker_is(True), LINK_S, "the link")
    for _ in range(BEFORE):
        house.report(RIGHT)
    house.send("board/power", b"off")
    house.minutes(0.1)
    broker.stop()
    wait_until(lambda: house.broker_is(False), LINK_S, "the loss to be noticed")
    house.minutes(5)
    house.service.submit(OperatorAction(Act.ACK, "mains-off:power", "ana"))
    house.settle()
    end_ms = (BEFORE + WITHOUT + ROUTER) * MINUTE
    house.until(end_ms - 2 * MINUTE)
    broker.start()
    house.link()
    house.until(end_ms)
    back_ms = house.clock.now().mono_ms
    for minute in range(AFTER):
        house.report(mended(min(1.0, minute / MEND)))
    return back_ms


def run(size: Size, folder: Path, told: Told) -> list[Line]:
    broker, calls = MosquittoBroker(folder), HttpReceiver()
    broker.start()
    calls.start()
    house = House(folder / "farm", VirtualClock(BEGIN), farm_text(broker, calls))
    house.service.start()
    try:
        back_ms = lived(house, broker)
        clicks = {relay: house.clicks(relay) for relay in LOADS}
    finally:
        house.service.stop()
        broker.stop()
        calls.stop()
    told(1.0)
    texts = [str(one.json()["text"]) for one in calls.requests]  # type: ignore[index]
    assert len(texts) == 1 and texts[0].startswith("FARM MAINS OFF power"), texts
    gone_ms = BEFORE * MINUTE
    early = [one for own in clicks.values() for one in own if one.on and gone_ms <= one.at_ms < back_ms]
    assert not early, f"switched on without mains: {early}"
    starts = sorted(
        next(one.at_ms for one in own if one.on and one.at_ms >= back_ms) - back_ms
        for own in clicks.values()
        if any(one.on and one.at_ms >= back_ms for one in own)
    )
    apart = min(later - sooner for sooner, later in zip([0, *starts], starts, strict=False))
    assert len(starts) >= 4 and apart >= APART_MS, f"loads came back at {starts} ms"
    said = report(folder / "farm")
    return [
        Line("calls in that night", count(len(texts)), "1"),
        Line("loads switched on before the mains were heard to be back", count(len(early)), "0"),
        Line("loads that came back, least time between two (s)", f"{len(starts)}, {apart / 1000:g}", ">= 5"),
        Line("in the morning's report", said, "one sentence"),
    ]


def report(folder: Path) -> str:
    """The sentence, which must be the same in every form of the report."""
    end = BEGIN + (BEFORE + WITHOUT + ROUTER + AFTER) * MINUTE
    with Reader(folder / JOURNAL) as reader:
        night = night_of(reader, Window(BEGIN, end, UTC), end)
    (line,) = [one for one in as_text(night).splitlines() if one.startswith("MAINS ")]
    assert line == SENTENCE, line
    assert line in as_html(night)
    (plain,) = json.loads(as_json(night))["mains_off"]
    assert f"MAINS {plain['words']}." == line
    return line


DRILL = Drill(
    "Mains off, the router back last",
    "Mains gone for two hours, the box on its battery; the router is back six minutes later (virtual time).",
    run,
)
