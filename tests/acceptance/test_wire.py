"""What went over the wire, heard by an ear of our own, against the books: the store and night.json.

The payloads are read here with nothing but `json` and `float`: the daemon's own decoders are not asked.
SenML names and times are put together as RFC 8428 section 4.5.1 says (base name + name, base time + time).
"""

import json
import math
from collections import defaultdict
from datetime import datetime
from typing import Any

from acceptance.nights import Lived
from gillhouse.core.edges import RelayWire, SensorRoute


def _at(document: Any, pointer: str) -> Any:
    for part in pointer.split("/")[1:]:
        document = document[part]
    return document


def _said(route: SensorRoute, payload: bytes) -> tuple[float, float | None]:
    """Value and the board's own Unix time, if it sent one."""
    text = payload.decode()
    if route.format == "number":
        return float(text), None
    if route.format == "words":
        assert route.words is not None
        return float({route.words[0]: 1, route.words[1]: 0}[text]), None
    document = json.loads(text)
    if route.format == "senml":
        base = document[0]
        (record,) = [one for one in document if base.get("bn", "") + one["n"] == route.senml_name]
        return float(record["v"]), base.get("bt", 0) + record.get("t", 0)
    assert route.path is not None
    return float(_at(document, route.path)), _at(document, route.time_path) if route.time_path else None


def test_every_value_on_the_wire_is_in_the_store_and_nothing_else(night: Lived) -> None:
    by_topic: dict[str, list[bytes]] = defaultdict(list)
    for topic, payload in night.heard:
        by_topic[topic].append(payload)
    with night.rows() as db:
        for route in night.config.routes:
            said = [_said(route, payload) for payload in by_topic[route.topic]]
            rows = db.execute(
                "SELECT value, ts, own_time FROM readings_named WHERE sensor = ? ORDER BY seq",
                (route.sensor,),
            ).fetchall()
            assert said, f"{route.sensor}: its board said nothing all night"
            assert [row["value"] for row in rows] == [value for value, _ in said], route.sensor
            own = [None if at is None else round(at * 1000) for _, at in said]
            assert [row["ts"] if row["own_time"] else None for row in rows] == own, route.sensor


def _told(wire: RelayWire, payload: bytes) -> tuple[bool, int]:
    """On or off, and the whole seconds that came along."""
    text = payload.decode()
    if text.startswith("{"):
        document = json.loads(text)
        return document["on"], document.get("seconds", 0)
    word, _, seconds = text.partition(" ")
    return {"ON": True, "OFF": False}[word], int(seconds or 0)


def _heard_by(night: Lived, wire: RelayWire) -> list[tuple[bool, int]]:
    return [_told(wire, payload) for topic, payload in night.heard if topic == wire.command_topic]


def test_every_command_in_the_store_went_over_the_wire_and_no_other(night: Lived) -> None:
    """From the moment the link was up. At its stop the daemon says OFF to every relay, also to those that
    were off already and need no row: that one OFF is all the wire has beyond the store."""
    with night.rows() as db:
        (up,) = db.execute("SELECT min(seq) FROM inputs WHERE kind = 'LinkChange'").fetchone()
        for id, wire in night.config.relay_wires.items():
            rows = db.execute(
                "SELECT is_on, lease_ms, reason FROM commands WHERE relay = ? AND NOT advise "
                "AND (seq >= ? OR seq = 0) ORDER BY id",
                (id, up),
            ).fetchall()
            # Whole seconds go over the wire, rounded up: a board never lets go before its lease is over.
            stored = [(bool(row["is_on"]), math.ceil(row["lease_ms"] / 1000)) for row in rows]
            if rows[-1]["reason"] != "stopping":
                assert stored[-1] == (False, 0), f"{id} was on at the stop and no row says that it was let go"
                stored.append((False, 0))
            assert _heard_by(night, wire) == stored, id


def test_the_lanes_of_the_night_are_the_runs_on_the_wire(night: Lived) -> None:
    """A run on the wire: from an ON to the next OFF, renewals within."""
    relays = night.relays()
    moved = 0
    for id, wire in night.config.relay_wires.items():
        runs, on = 0, False
        for is_on, _ in _heard_by(night, wire):
            runs += is_on and not on
            on = is_on
        outside = sum(not within for within in _begun_within(night, id))
        assert relays[id]["starts"] == runs - outside, id
        moved += runs
    assert moved > 100, "a night in which hardly anything moved proves little"


def _begun_within(night: Lived, relay: str) -> list[bool]:
    """For each run: begun in the night itself, not in the minute of warm-up or at the very end."""
    with night.rows() as db:
        rows = db.execute(
            "SELECT ts FROM commands WHERE relay = ? AND is_on AND NOT renewal AND NOT advise ORDER BY id",
            (relay,),
        )
        return [night.from_ms <= row["ts"] < night.to_ms for row in rows]


def test_lanes_end_when_the_wire_said_they_would(night: Lived) -> None:
    """The mist's board is told the Unix second by which it must be off: no lane is longer than that."""
    wire = night.config.relay_wires["room-mist"]
    told = [json.loads(payload) for topic, payload in night.heard if topic == wire.command_topic]
    until = [one["until"] for one in told if one["on"]]
    within = _begun_within(night, "room-mist")
    latest = [second for second, kept in zip(until, within, strict=True) if kept]
    ends = [datetime.fromisoformat(run["end"]).timestamp() for run in night.relays()["room-mist"]["runs"]]
    assert len(ends) > 3
    for end, limit in zip(ends, latest, strict=True):
        assert limit - 2 <= end <= limit  # night.json tells whole seconds


def test_every_echo_on_the_wire_is_in_the_journal(night: Lived) -> None:
    heard: dict[str, list[bool]] = {}
    for id, wire in night.config.relay_wires.items():
        says = [payload.decode() for topic, payload in night.heard if topic == wire.state_topic]
        words = [json.loads(text)["state"] if wire.state_path else text for text in says]
        heard[id] = [word == wire.state_on for word in words]
    with night.rows() as db:
        bodies = [
            json.loads(body)
            for (body,) in db.execute("SELECT body FROM inputs WHERE kind = 'RelayReport' ORDER BY seq")
        ]
    for id, echoes in heard.items():
        journalled = [body["on"] for body in bodies if body["relay"] == id and body["on"] is not None]
        assert journalled == echoes, id
        assert echoes, id


def test_nothing_but_trial_topics_was_ever_spoken_on(night: Lived) -> None:
    assert {topic for topic, _ in night.heard if not topic.startswith("trial/")} == set()
