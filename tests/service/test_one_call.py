"""One real fault wakes once: the broker goes, thirty sensors in two spaces fall silent, one call goes out.

The broker and the receiver of calls are real; the house runs in virtual time, so that hours pass. The figures
follow from the project's own choices: contact is lost for 2 min before it is an alarm, priority 1, and a
sensor counts as silent after 3.25 of its intervals, at least 2 min.
"""

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import paho.mqtt.client as paho
import pytest

from gillhouse.clock import VirtualClock
from gillhouse.config import load
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.service import Service
from servers import HttpReceiver, MosquittoBroker, wait_until

MIN = 60_000
HOUR = 60 * MIN
SPACES = ("tent", "room")
SENSORS = {
    f"{space}-{quantity}-{number}": (space, quantity, unit)
    for space in SPACES
    for quantity, unit in (("humidity", "%"), ("temperature", "degC"), ("co2", "ppm"))
    for number in range(5)
}
VALUES = {"humidity": "90", "temperature": "15", "co2": "700"}
START = round(datetime(2026, 11, 25, 23, 30, tzinfo=ZoneInfo("Europe/Rome")).timestamp() * 1000)


def farm(broker: MosquittoBroker, receiver: HttpReceiver) -> str:
    """Two spaces, thirty sensors, fans, and one person who sleeps from ten to six."""
    spaces = "".join(
        f"  {space}: {{name: {space.title()}, kind: tent, walk_in: yes, volume_m3: 9,"
        " crop: {species: lions-mane, stage: fruiting, kg: 40}}\n"
        for space in SPACES
    )
    sensors = "".join(
        f'  {ident}: {{space: {space}, zone: z{ident[-1]}, quantity: {quantity}, unit: "{unit}",'
        f" topic: t/{ident}, format: number, every: 30 s}}\n"
        for ident, (space, quantity, unit) in SENSORS.items()
    )
    relays = "".join(
        f"  {space}-fan: {{role: fan, space: {space}, air_m3_per_h: 90,"
        f" command: {{topic: t/{space}/fan/set}}}}\n"
        for space in SPACES
    )
    return (
        "farm: {name: Drill, zone: Europe/Rome, advise_only: no}\n"
        f"broker: {{host: 127.0.0.1, port: {broker.port}}}\n"
        f"spaces:\n{spaces}sensors:\n{sensors}relays:\n{relays}"
        f"channels: {{hook: {{kind: webhook, url: {receiver.url}}}}}\n"
        "people:\n"
        '  ana: {name: Ana, reach: [{channel: hook}], quiet: {start: "22:00", end: "06:00"}}\n'
    )


class House:
    """The service over a virtual clock."""

    def __init__(self, folder: Path, text: str) -> None:
        path = folder / "farm.yaml"
        path.write_text(text, encoding="utf-8")
        self.clock = VirtualClock(START)
        self.service = Service(load(path), folder / "state", self.clock)
        self.service.start()

    def rest(self) -> None:
        wait_until(self.service.settled, 20, "the house to be at rest")

    def run_for(self, ms: int) -> None:
        """Moves time on to each moment somebody waits for."""
        end = self.clock.now().mono_ms + ms
        self.rest()
        while (wake := self.clock.next_wake_ms()) is not None and wake <= end:
            self.clock.advance_to(wake)
            self.rest()
        self.clock.advance_to(end)
        self.rest()

    def broker_is(self, up: bool) -> bool:
        return bool(self.service.status()["links"]["broker"]["up"]) is up


@pytest.fixture
def house(tmp_path: Path, broker: MosquittoBroker, http_receiver: HttpReceiver) -> Iterator[House]:
    (tmp_path / "state").mkdir()
    one = House(tmp_path, farm(broker, http_receiver))
    yield one
    one.service.stop()


def air(broker: MosquittoBroker) -> None:
    """Every board reports once."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2)
    client.connect(broker.host, broker.port)
    client.loop_start()
    for ident, (_, quantity, _) in SENSORS.items():
        client.publish(f"t/{ident}", VALUES[quantity], qos=1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def heard(house: House) -> bool:
    return all(age < 1.0 for age in house.service.status()["heard_s"].values())


def calls(receiver: HttpReceiver) -> list[str]:
    return [str(one.json()["text"]) for one in receiver.requests]  # type: ignore[index]


def test_a_broker_lost_at_night_makes_exactly_one_call(
    house: House, broker: MosquittoBroker, http_receiver: HttpReceiver
) -> None:
    wait_until(lambda: house.service.link.connected, 10, "the broker")
    air(broker)
    wait_until(lambda: heard(house), 10, "thirty sensors to be heard")
    assert len(SENSORS) == 30
    broker.stop()
    wait_until(lambda: house.broker_is(False), 20, "the loss to be noticed")
    house.run_for(4 * MIN)
    (call,) = calls(http_receiver)
    assert call.startswith("FARM NO CONTACT for 2min. ")
    house.service.submit(OperatorAction(Act.ACK, "broker-lost:broker", "ana"))
    house.run_for(30 * MIN)  # as new after an hour: see the table of priorities
    assert len(calls(http_receiver)) == 1
    alarms = {one["alarm"]: one for one in house.service.status()["alarms"]}
    assert "broker-lost:broker" in alarms
    assert not [one for name, one in alarms.items() if name.startswith("sensor-") and not one["held"]]

    broker.start()
    wait_until(lambda: house.clock.next_wake_ms() is not None, 5, "a next attempt")

    for _ in range(20):  # an attempt comes within a minute; the link itself is made in real time
        house.run_for(5_000)
        with suppress(AssertionError):
            wait_until(lambda: house.broker_is(True), 1.0)
            break
    assert house.broker_is(True)
    air(broker)
    wait_until(lambda: heard(house), 10, "thirty sensors to be heard again")
    for _ in range(10):
        house.run_for(30_000)
        air(broker)
        wait_until(lambda: heard(house), 10, "thirty sensors to be heard again")
    _, note = calls(http_receiver)
    assert note.startswith("Watching again. Not watched from Wed 23:3")
