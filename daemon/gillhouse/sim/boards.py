"""The boards of the trial: what sensor boards send, and what relay boards do with what they hear.

Built from the very routes and wires the config gives the daemon, so any farm file can be tried. A sensor
board is one topic: it numbers its messages and carries its own time where the route says so. A relay board
takes the seconds out of the payload and drops out by itself when they are over, with or without the daemon.
Not here: the connection (`link`), the room behind the sensor (`plant`).
"""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from gillhouse.core.edges import RelayWire, SensorRoute
from gillhouse.core.quantities import MEASURES, UNITS
from gillhouse.sim.link import TrialError
from gillhouse.sim.sensors import SimSensor

LET_GO_WORD = b"offline"
"""The daemon's last will: boards that hear it let go."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One message as it leaves a board."""

    topic: str
    payload: bytes
    retain: bool = False


def in_unit(route: SensorRoute, value: float) -> float:
    """`value`, canonical, as the board writes it."""
    if MEASURES[route.quantity].on_off:
        return value
    factor, offset = UNITS[route.quantity][route.unit]
    return round((value - offset) / factor, 4)


def _word(route: SensorRoute, value: float) -> str:
    assert route.words is not None
    return route.words[0] if value >= 0.5 else route.words[1]


def planted(pairs: Mapping[str, object]) -> Any:
    """A JSON document in which each RFC 6901 pointer of `pairs` finds its value.

    A level whose keys are all whole numbers becomes an array, holes filled with null.
    """
    tree: dict[str, Any] = {}
    for pointer, value in pairs.items():
        if pointer == "":
            return value
        node = tree
        *above, last = [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]
        for part in above:
            node = node.setdefault(part, {})
        node[last] = value
    return _arrays(tree)


def _arrays(node: Any) -> Any:
    if not isinstance(node, dict):
        return node
    if node and all(key.isdecimal() for key in node):
        length = max(int(key) for key in node) + 1
        return [_arrays(node.get(str(place))) for place in range(length)]
    return {key: _arrays(value) for key, value in node.items()}


class SensorBoard:
    """Everything that reports on one topic."""

    def __init__(self, topic: str, routes: Iterable[SensorRoute], sensors: Mapping[str, SimSensor]) -> None:
        self.topic = topic
        self.routes = tuple(routes)
        self.sensors = {route.sensor: sensors[route.sensor] for route in self.routes}
        self.every_ms = min(route.every_ms for route in self.routes)
        self.due_ms = 0
        """Trial milliseconds of its next report."""
        self.alive = True
        self.number = 0
        """Of its last message; a board counts the lost ones too."""
        self._shown: dict[str, float] = {}

    def switched(self) -> bool:
        """A contact has changed since it was last told: such boards report at once."""
        return self.alive and any(
            self._shown.get(route.sensor, self.sensors[route.sensor].felt) != self.sensors[route.sensor].felt
            for route in self.routes
            if MEASURES[route.quantity].on_off
        )

    def report(self, wall_ms: int) -> Sent | None:
        """The message of this moment; None where the board is dead or radio loses it."""
        self.number += 1
        values: dict[str, float] = {}
        for route in self.routes:
            value = self.sensors[route.sensor].says()
            if value is not None:
                values[route.sensor] = value
        lost = next(iter(self.sensors.values())).lost()
        contact = any(MEASURES[route.quantity].on_off for route in self.routes)
        if not self.alive or not values or (lost and not contact):
            return None
        self._shown.update(values)
        return Sent(self.topic, FORMATS[self.routes[0].format](self, values, wall_ms))

    def number_payload(self, values: Mapping[str, float], _wall_ms: int) -> bytes:
        route = self.routes[0]
        return f"{in_unit(route, values[route.sensor]):.10g}".encode()

    def json_payload(self, values: Mapping[str, float], wall_ms: int) -> bytes:
        pairs: dict[str, object] = {}
        for route in self.routes:
            if route.time_path is not None:
                pairs[route.time_path] = wall_ms / 1000.0
            if route.seq_path is not None:
                pairs[route.seq_path] = self.number
            if route.sensor in values and route.path is not None:
                value = values[route.sensor]
                pairs[route.path] = _word(route, value) if route.words else in_unit(route, value)
        return json.dumps(planted(pairs), separators=(",", ":")).encode()

    def senml_payload(self, values: Mapping[str, float], wall_ms: int) -> bytes:
        """RFC 8428: one pack, the base name and base time in its first record."""
        names = [route.senml_name or route.sensor for route in self.routes]
        base = names[0][: max(names[0].rfind("/"), names[0].rfind(":")) + 1]
        if not all(name.startswith(base) for name in names):
            base = ""
        records: list[dict[str, object]] = []
        for route, name in zip(self.routes, names, strict=True):
            if route.sensor not in values:
                continue
            record: dict[str, object] = {"n": name[len(base) :], "v": in_unit(route, values[route.sensor])}
            if not MEASURES[route.quantity].on_off:
                record["u"] = SENML_UNITS.get(route.unit, route.unit)
            records.append(record)
        records[0] = {"bn": base, "bt": wall_ms / 1000.0} | records[0]
        return json.dumps(records, separators=(",", ":")).encode()

    def words_payload(self, values: Mapping[str, float], wall_ms: int) -> bytes:
        route = self.routes[0]
        if route.path is not None:
            return self.json_payload(values, wall_ms)
        return _word(route, values[route.sensor]).encode()


FORMATS = {
    "number": SensorBoard.number_payload,
    "json": SensorBoard.json_payload,
    "senml": SensorBoard.senml_payload,
    "words": SensorBoard.words_payload,
}
SENML_UNITS = {"%": "%RH", "degC": "Cel", "C": "Cel"}
"""Units in the SenML registry (RFC 8428, 12.1) for what farms call them."""


def sensor_boards(routes: Iterable[SensorRoute], sensors: Mapping[str, SimSensor]) -> list[SensorBoard]:
    """One board a topic, in the order the routes name them, their reports spread over the interval."""
    by_topic: dict[str, list[SensorRoute]] = {}
    for route in routes:
        by_topic.setdefault(route.topic, []).append(route)
    boards = [SensorBoard(topic, held, sensors) for topic, held in by_topic.items()]
    for place, board in enumerate(boards):
        board.due_ms = 1_000 + (place * 7_000) % board.every_ms
    return boards


def _pattern(template: str) -> re.Pattern[str]:
    """A template as a pattern: `{seconds}` and the like become named groups."""
    parts = re.split(r"\{(seconds|until|id)\}", template)
    seen: set[str] = set()
    pattern = ""
    for place, part in enumerate(parts):
        if place % 2 == 0:
            pattern += re.escape(part)
        elif part in seen:
            pattern += f"(?P={part})"
        else:
            seen.add(part)
            pattern += rf"(?P<{part}>[\w.-]+)"
    return re.compile(pattern)


class RelayBoard:
    """One relay with a timer of its own."""

    def __init__(self, wire: RelayWire, own_timer: bool) -> None:
        self.wire, self.own_timer = wire, own_timer
        self.on = False
        self.off_at_ms: int | None = None
        """Trial milliseconds at which it drops out by itself."""
        self.heard = 0
        self.misheard = 0
        """Commands it could not read; it does nothing then."""
        self._on_pattern, self._off_pattern = _pattern(wire.payload_on), _pattern(wire.payload_off)

    def hear(self, payload: bytes, at_ms: int, wall_ms: int) -> Sent | None:
        """Does as told. Returns the echo, if its wire has one."""
        self.heard += 1
        text = payload.decode("utf-8", "replace")
        told_on = self._on_pattern.fullmatch(text)
        if told_on is None and self._off_pattern.fullmatch(text) is None:
            self.misheard += 1
            return None
        self.on = told_on is not None
        self.off_at_ms = self._end(told_on, at_ms, wall_ms) if told_on else None
        return self.echo()

    def _end(self, told_on: re.Match[str], at_ms: int, wall_ms: int) -> int | None:
        told = told_on.groupdict()
        if not self.own_timer:
            return None
        if "seconds" in told:
            return at_ms + int(float(told["seconds"]) * 1000)
        if "until" in told:
            return at_ms + int(float(told["until"]) * 1000) - wall_ms
        return None

    def drop_out(self, at_ms: int) -> Sent | None:
        """Lets go if its time is over. Returns the echo of that."""
        if not self.on or self.off_at_ms is None or at_ms < self.off_at_ms:
            return None
        return self.let_go()

    def let_go(self) -> Sent | None:
        self.on, self.off_at_ms = False, None
        return self.echo()

    def echo(self) -> Sent | None:
        wire = self.wire
        if wire.state_topic is None:
            return None
        word = wire.state_on if self.on else wire.state_off
        text = json.dumps(planted({wire.state_path: word})) if wire.state_path else word
        return Sent(wire.state_topic, text.encode())

    def birth(self) -> Sent | None:
        wire = self.wire
        if wire.available_topic is None:
            return None
        return Sent(wire.available_topic, wire.available_on.encode(), retain=True)


def relay_boards(
    wires: Mapping[str, RelayWire], own_timers: Mapping[str, bool], prefix: str
) -> dict[str, RelayBoard]:
    """One board a relay, by command topic.

    Raises:
        TrialError: a wire does not stand under `prefix`. A trial never speaks to a real relay's topic.
    """
    boards: dict[str, RelayBoard] = {}
    for id, wire in wires.items():
        if wire.command_topic is None:
            continue
        if not wire.command_topic.startswith(prefix):
            raise TrialError(f"relay {id}: {wire.command_topic} is no trial topic, not under {prefix}")
        boards[wire.command_topic] = RelayBoard(wire, own_timers[id])
    return boards
