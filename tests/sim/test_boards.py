"""Boards: what they send can be read by the standard's own rules, and relays let go by themselves."""

import json

import pytest
from jsonpointer import resolve_pointer

from gillhouse.core.edges import RelayWire, SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.sim.boards import RelayBoard, SensorBoard, planted, relay_boards, sensor_boards
from gillhouse.sim.link import TrialError
from gillhouse.sim.sensors import Health, SimSensor

WALL_MS = 1_760_464_800_000


def sensor(id: str, quantity: Quantity, truth: float, seed: int = 1) -> SimSensor:
    made = SimSensor(id, quantity, 0.0, seed)
    made.feel(truth, 1.0)
    return made


def route(id: str, quantity: Quantity, unit: str, format: str = "json", **more: object) -> SensorRoute:
    return SensorRoute(id, "trial/a", format, quantity, unit, 30_000, **more)  # type: ignore[arg-type]


def board(*routes: SensorRoute, **truths: float) -> SensorBoard:
    sensors = {r.sensor: sensor(r.sensor, r.quantity, truths[r.sensor]) for r in routes}
    return SensorBoard("trial/a", routes, sensors)


def report(of: SensorBoard) -> bytes:
    """The next message that radio does not lose."""
    for _ in range(50):
        sent = of.report(WALL_MS)
        if sent is not None:
            return sent.payload
    raise AssertionError("fifty reports in a row were lost")


def test_json_is_found_by_its_pointers() -> None:
    """RFC 6901, resolved by the jsonpointer package."""
    of = board(
        route("rh", Quantity.HUMIDITY, "%", path="/air/rh", time_path="/at", seq_path="/n"),
        route("t", Quantity.TEMPERATURE, "degF", path="/air/t~1f"),
        rh=88.0,
        t=15.0,
    )
    sent = json.loads(report(of))
    assert resolve_pointer(sent, "/air/rh") == pytest.approx(88.0, abs=3.5)
    assert resolve_pointer(sent, "/air/t~1f") == pytest.approx(59.0, abs=1.0)  # 15 C
    assert resolve_pointer(sent, "/at") == WALL_MS / 1000
    assert resolve_pointer(sent, "/n") == of.number


def test_planting_makes_arrays_where_pointers_count() -> None:
    """RFC 6901 section 4: digits index an array."""
    document = planted({"/list/1/v": 2, "/list/0/v": 1, "/m~0n": 3})
    assert document == {"list": [{"v": 1}, {"v": 2}], "m~n": 3}


def test_senml_resolves_as_the_rfc_says() -> None:
    """RFC 8428 section 4.6: base name and name put together, base time and time added."""
    of = board(
        route("rh", Quantity.HUMIDITY, "%", "senml", senml_name="barn:rh"),
        route("t", Quantity.TEMPERATURE, "Cel", "senml", senml_name="barn:t"),
        rh=80.0,
        t=12.0,
    )
    records = json.loads(report(of))
    base, base_time = records[0]["bn"], records[0]["bt"]
    resolved = {base + r["n"]: (r["v"], r["u"], base_time + r.get("t", 0)) for r in records}
    assert set(resolved) == {"barn:rh", "barn:t"}
    assert resolved["barn:rh"][1:] == ("%RH", WALL_MS / 1000)
    assert resolved["barn:t"][0] == pytest.approx(12.0, abs=0.6)


def test_words_and_bare_numbers() -> None:
    door = board(route("d", Quantity.DOOR, "1", "words", words=("open", "closed")), d=0.0)
    assert report(door) == b"closed"
    bare = board(route("rh", Quantity.HUMIDITY, "%", "number"), rh=90.0)
    assert float(report(bare)) == pytest.approx(90.0, abs=3.5)


def test_a_contact_is_told_at_once_and_never_lost() -> None:
    door = board(route("d", Quantity.DOOR, "1", "words", words=("open", "closed")), d=0.0)
    assert all(door.report(WALL_MS) is not None for _ in range(300))
    assert not door.switched()
    door.sensors["d"].feel(1.0, 1.0)
    assert door.switched()
    assert report(door) == b"open"
    assert not door.switched()


def test_about_one_report_in_a_hundred_is_lost() -> None:
    """0.5 to 3 % of reports are lost (room reference)."""
    of = board(route("rh", Quantity.HUMIDITY, "%", path="/rh"), rh=90.0)
    lost = sum(of.report(WALL_MS) is None for _ in range(5000))
    assert 0.005 < lost / 5000 < 0.03


def test_a_dead_board_says_nothing_and_a_frozen_sensor_the_same() -> None:
    of = board(route("rh", Quantity.HUMIDITY, "%", path="/rh"), rh=90.0)
    of.sensors["rh"].health = Health.FROZEN
    assert len({report(of) for _ in range(20)}) == 1
    of.alive = False
    assert all(of.report(WALL_MS) is None for _ in range(20))


def test_a_live_sensor_moves_its_last_digit_and_a_wet_one_reads_100() -> None:
    live = sensor("rh", Quantity.HUMIDITY, 90.0)
    assert len({live.says() for _ in range(20)}) > 3
    wet = sensor("rh", Quantity.HUMIDITY, 100.0)
    assert {wet.says() for _ in range(20)} == {100.0}


def test_lag_is_first_order() -> None:
    """After one time constant 63.2 %, after three 95.0 % of a step (lag table of the physics reference)."""
    slow = sensor("co2", Quantity.CO2, 400.0)
    for _ in range(1000):
        slow.feel(1400.0, slow.lag_s / 1000)
    assert slow.felt == pytest.approx(400.0 + 632.1, abs=0.5)
    for _ in range(2000):
        slow.feel(1400.0, slow.lag_s / 1000)
    assert slow.felt == pytest.approx(400.0 + 950.2, abs=0.5)


def test_the_same_seed_makes_the_same_sensor() -> None:
    one, two, other = (sensor("rh", Quantity.HUMIDITY, 90.0, seed) for seed in (1, 1, 2))
    said = [one.says() for _ in range(50)]
    assert said == [two.says() for _ in range(50)]
    assert said != [other.says() for _ in range(50)]
    assert one.lag_s != other.lag_s


# ---- relay boards

WIRE = RelayWire(
    "mist",
    "mqtt",
    "trial/mist/set",
    '{"on": true, "seconds": {seconds}, "id": "{id}"}',
    '{"on": false}',
    state_topic="trial/mist/state",
    state_path="/state",
    available_topic="trial/alive",
)


def test_a_relay_board_lets_go_by_itself() -> None:
    relay = RelayBoard(WIRE, own_timer=True)
    echo = relay.hear(b'{"on": true, "seconds": 8, "id": "7"}', 1_000, WALL_MS)
    assert relay.on
    assert relay.off_at_ms == 9_000
    assert echo is not None
    assert json.loads(echo.payload) == {"state": "ON"}
    assert relay.drop_out(8_999) is None
    assert relay.on
    gone = relay.drop_out(9_000)
    assert gone is not None
    assert json.loads(gone.payload) == {"state": "OFF"}
    assert not relay.on


def test_a_renewed_run_goes_on() -> None:
    relay = RelayBoard(WIRE, own_timer=True)
    relay.hear(b'{"on": true, "seconds": 8, "id": "7"}', 0, WALL_MS)
    relay.hear(b'{"on": true, "seconds": 8, "id": "8"}', 5_000, WALL_MS)
    assert relay.drop_out(8_000) is None
    assert relay.drop_out(13_000) is not None


def test_a_relay_board_understands_an_end_as_well_as_a_length() -> None:
    wire = RelayWire("fan", "mqtt", "trial/fan/set", "ON until {until}", "OFF")
    relay = RelayBoard(wire, own_timer=True)
    relay.hear(b"ON until 1760464830", 2_000, WALL_MS)
    assert relay.off_at_ms == 32_000


@pytest.mark.parametrize(
    "payload",
    [b"", b"ON", b'{"on": true}', b'{"on": true, "seconds": , "id": "7"}', b"\xff\xfe", b'{"on": 1}'],
)
def test_what_a_board_cannot_read_moves_nothing(payload: bytes) -> None:
    relay = RelayBoard(WIRE, own_timer=True)
    assert relay.hear(payload, 0, WALL_MS) is None
    assert not relay.on
    assert relay.misheard == 1


def test_a_board_without_a_timer_stays_on() -> None:
    relay = RelayBoard(WIRE, own_timer=False)
    relay.hear(b'{"on": true, "seconds": 8, "id": "7"}', 0, WALL_MS)
    assert relay.drop_out(3_600_000) is None
    assert relay.on


def test_no_board_is_made_for_a_real_topic() -> None:
    """A trial never speaks to a relay outside its own topics."""
    real = RelayWire("mist", "mqtt", "farm/mist/set")
    with pytest.raises(TrialError, match="farm/mist/set is no trial topic"):
        relay_boards({"mist": real}, {"mist": True}, "trial/")


def test_one_topic_is_one_board_and_reports_are_spread() -> None:
    routes = [
        SensorRoute("a", "trial/x", "json", Quantity.HUMIDITY, "%", 30_000, path="/a"),
        SensorRoute("b", "trial/x", "json", Quantity.CO2, "ppm", 30_000, path="/b"),
        SensorRoute("c", "trial/y", "number", Quantity.CO2, "ppm", 30_000),
    ]
    sensors = {r.sensor: sensor(r.sensor, r.quantity, 500.0) for r in routes}
    boards = sensor_boards(routes, sensors)
    assert [b.topic for b in boards] == ["trial/x", "trial/y"]
    assert boards[0].due_ms != boards[1].due_ms
