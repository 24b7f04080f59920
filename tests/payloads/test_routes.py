"""The fate of each reading. Times and counts are worked by hand from the rules in `payloads.routes`."""

import json

from gillhouse.core.edges import SensorRoute
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import Quantity
from gillhouse.payloads import Message, Reject
from gillhouse.payloads.routes import AHEAD_MS, REMEMBERED, Decoded, Routes

NOON = 1_795_608_000_000  # 2026-11-25T12:00:00Z
EVERY = 10_000


def air(rh: float, ts: float | None = None, n: int | None = None) -> str:
    """What a board says."""
    fields = {"rh": rh, "ts": ts, "n": n}
    return json.dumps({name: value for name, value in fields.items() if value is not None})


def json_route(sensor: str = "h", path: str = "/rh", *, time: bool = True, seq: bool = True) -> SensorRoute:
    return SensorRoute(
        sensor, "tent/air", "json", Quantity.HUMIDITY, "%", EVERY,
        path=path, time_path="/ts" if time else None, seq_path="/n" if seq else None,
    )  # fmt: skip


class Bench:
    """Routes with a clock in hand."""

    def __init__(self, *routes: SensorRoute, max_payload: int = 4096) -> None:
        self.routes = Routes(routes or (json_route(),), max_payload)
        self.wall_ms = NOON
        self.mono_ms = 0

    def later(self, ms: int) -> None:
        self.wall_ms += ms
        self.mono_ms += ms

    sure = True
    """Our clock is set."""

    def take(self, payload: str | bytes, *, synced: bool = True, retain: bool = False) -> Decoded:
        body = payload.encode() if isinstance(payload, str) else payload
        message = Message("tent/air", body, Instant(self.wall_ms, self.mono_ms), retain)
        return self.routes.decode(message, synced, self.sure)

    def one(self, payload: str, *, synced: bool = True, retain: bool = False) -> Reading:
        decoded = self.take(payload, synced=synced, retain=retain)
        assert not decoded.rejects
        (reading,) = decoded.readings
        return reading

    def refused(self, payload: str | bytes) -> Reject:
        decoded = self.take(payload)
        assert not decoded.readings
        (rejected,) = decoded.rejects
        return rejected.reason


def test_fresh_readings_are_live_under_their_own_time() -> None:
    bench = Bench()
    reading = bench.one(air(85.3, ts=NOON - 900, n=7))
    assert reading == Reading("h", 85.3, NOON - 900, True, 7, Delivery.LIVE)


def test_without_a_time_the_arrival_counts() -> None:
    bench = Bench()
    assert bench.one(air(85.3)) == Reading("h", 85.3, NOON, False, None, Delivery.LIVE)


def test_several_sensors_share_one_message() -> None:
    bench = Bench(json_route("a", "/a"), json_route("b", "/b"), json_route("c", "/c"))
    decoded = bench.take('{"a": 1, "c": 3}')
    assert [(reading.sensor, reading.value) for reading in decoded.readings] == [("a", 1.0), ("c", 3.0)]
    (rejected,) = decoded.rejects
    assert (rejected.sensor, rejected.reason) == ("b", Reject.PATH_MISSING)
    assert bench.routes.rejected == {("b", Reject.PATH_MISSING): 1}


def test_several_formats_share_one_topic() -> None:
    plain = SensorRoute("p", "tent/air", "number", Quantity.HUMIDITY, "%", EVERY)
    bench = Bench(json_route(path="", time=False, seq=False), plain)
    assert [reading.sensor for reading in bench.take("85.3").readings] == ["h", "p"]


def test_a_message_nobody_can_read_is_refused_once() -> None:
    bench = Bench(json_route("a", "/a"), json_route("b", "/b"))
    (rejected,) = bench.take("{").rejects
    assert (rejected.topic, rejected.sensor, rejected.reason) == ("tent/air", None, Reject.NOT_JSON)


def test_a_long_message_is_refused_unread() -> None:
    bench = Bench(max_payload=100)
    assert bench.refused(b"\xff" * 101) is Reject.TOO_LARGE
    assert bench.refused(b"\xff" * 100) is Reject.NOT_UTF8


def test_a_topic_nobody_listens_on_gives_nothing() -> None:
    message = Message("other", b"1", Instant(NOON, 0))
    assert Bench().routes.decode(message, True) == Decoded((), ())


def test_queued_only_where_the_board_sends_no_time() -> None:
    bench = Bench()
    assert bench.one(air(80, n=1), synced=False).delivery is Delivery.QUEUED
    assert bench.one(air(81, ts=NOON, n=2), synced=False).delivery is Delivery.LIVE
    old = bench.one(air(79, ts=NOON - 3_600_000, n=0), synced=False)
    assert (old.delivery, old.sensed_ms, old.own_time) == (Delivery.LATE, NOON - 3_600_000, True)


def test_late_is_more_than_two_intervals_or_behind_a_newer_one() -> None:
    bench = Bench()
    assert bench.one(air(80, ts=NOON - 2 * EVERY - 1)).delivery is Delivery.LATE
    assert bench.one(air(80, ts=NOON - 2 * EVERY)).delivery is Delivery.LIVE
    assert bench.one(air(80, ts=NOON - 5_000)).delivery is Delivery.LIVE
    behind = bench.one(air(80, ts=NOON - 6_000))
    assert (behind.delivery, behind.sensed_ms) == (Delivery.LATE, NOON - 6_000)


def test_a_board_ahead_of_us_is_kept_under_its_arrival() -> None:
    bench = Bench()
    assert bench.one(air(80, ts=NOON + AHEAD_MS)).sensed_ms == NOON + AHEAD_MS
    ahead = bench.one(air(80, ts=NOON + AHEAD_MS + 1))
    assert (ahead.delivery, ahead.sensed_ms, ahead.own_time) == (Delivery.AHEAD, NOON, False)
    far = bench.one(air(80, ts=1e300))
    assert (far.delivery, far.sensed_ms) == (Delivery.AHEAD, NOON + 1)


def test_while_our_clock_is_not_set_a_board_is_held_against_itself_alone() -> None:
    """Ours shows 2020, then 2100: no own time is ahead or late by that; one behind the last is late still."""
    bench = Bench()
    bench.sure = False
    bench.wall_ms = 1_588_654_800_000
    waited = bench.one(air(80, ts=NOON - 60_000, n=1), synced=False)
    assert (waited.delivery, waited.sensed_ms) == (Delivery.LATE, NOON - 60_000)
    first = bench.one(air(80, ts=NOON, n=2))
    assert (first.delivery, first.sensed_ms, first.own_time) == (Delivery.LIVE, NOON, True)
    bench.wall_ms = 4_102_444_800_000
    assert bench.one(air(80, ts=NOON + EVERY, n=3)).delivery is Delivery.LIVE
    assert bench.one(air(80, ts=NOON - 1, n=0)).delivery is Delivery.LATE
    assert bench.one(air(80, ts=NOON + 2 * EVERY, n=4), retain=True).delivery is Delivery.RETAINED
    bench.sure = True
    assert bench.one(air(80, ts=NOON + 3 * EVERY, n=5)).delivery is Delivery.LATE


def test_a_kept_copy_is_retained_whatever_its_time() -> None:
    bench = Bench()
    assert bench.one(air(80), retain=True).delivery is Delivery.RETAINED
    dated = bench.one(air(80, ts=NOON), retain=True)
    assert (dated.delivery, dated.sensed_ms) == (Delivery.RETAINED, NOON)


def test_the_same_time_and_number_again_is_a_duplicate() -> None:
    bench = Bench()
    payload = air(80, ts=NOON, n=7)
    bench.one(payload)
    bench.later(60_000)
    assert bench.refused(payload) is Reject.DUPLICATE
    assert bench.routes.rejected == {("h", Reject.DUPLICATE): 1}


def test_two_readings_in_one_second_of_a_coarse_clock_are_both_kept() -> None:
    bench = Bench()
    kept = [bench.one(air(80 + n, ts=NOON // 1000, n=n)) for n in range(3)]
    assert [reading.sensed_ms for reading in kept] == [NOON, NOON + 1, NOON + 2]
    assert {reading.delivery for reading in kept} == {Delivery.LIVE}


def test_with_neither_time_nor_number_nothing_is_a_duplicate() -> None:
    bench = Bench()
    stamps = [bench.one(air(80)).sensed_ms for _ in range(4)]
    assert stamps == [NOON, NOON + 1, NOON + 2, NOON + 3]  # one place each in the store


def test_a_number_alone_tells_duplicates() -> None:
    bench = Bench()
    for number in range(5):
        bench.one(air(80, n=number))
    for number in range(5):
        assert bench.refused(air(80, n=number)) is Reject.DUPLICATE


def test_a_number_that_was_overtaken_makes_no_new_board() -> None:
    """A broker begins again: 11 to 13 overtake 10, and then it sends 6 to 13 once more."""
    bench = Bench()
    for number in (*range(3, 10), 11, 12, 13, 10):
        bench.one(air(80, n=number))
    for number in range(6, 14):
        assert bench.refused(air(80, n=number)) is Reject.DUPLICATE


def test_a_number_far_below_is_a_board_that_began_again() -> None:
    bench = Bench()
    for number in range(200, 210):
        bench.one(air(80, n=number))
    for number in range(5, 15):  # its first ones were lost on the way
        bench.one(air(80, n=number))


def test_a_board_that_numbers_anew_after_a_restart_loses_nothing() -> None:
    """Numbers 0 to 2 come twice with other values, and then 3 to 5 with the very values they had before."""
    bench = Bench()
    for number in range(6):
        bench.one(air(80 + number, n=number))
    for number in range(3):
        bench.one(air(60 + number, n=number))
    for number in range(3, 6):
        bench.one(air(80 + number, n=number))


def test_stored_readings_are_remembered_over_a_restart() -> None:
    bench = Bench(json_route("timed"), json_route("counted", time=False))
    bench.routes.remember("timed", NOON - 1_000, 7, own_time=True, value=80.0)
    bench.routes.remember("counted", NOON - 900, 7, value=80.0)
    bench.routes.remember("gone", NOON, 7)  # a sensor of an earlier config
    again = bench.take(air(80, ts=NOON - 1_000, n=7))
    assert [rejected.reason for rejected in again.rejects] == [Reject.DUPLICATE, Reject.DUPLICATE]
    older = bench.take(air(79, ts=NOON - 2_000, n=6)).readings[0]
    assert (older.sensor, older.delivery) == ("timed", Delivery.LATE)


def test_what_is_remembered_is_bounded() -> None:
    bench = Bench()
    for number in range(REMEMBERED + 1):
        bench.one(air(80, ts=NOON, n=number))
    assert bench.refused(air(80, ts=NOON, n=1)) is Reject.DUPLICATE
    assert bench.one(air(80, ts=NOON, n=0)).board_seq == 0  # pushed out


def test_the_wall_clock_stepping_back_a_day_begins_the_stamps_anew() -> None:
    bench = Bench(json_route(time=False, seq=False))
    bench.one(air(80))
    bench.wall_ms -= 86_400_000
    bench.later(EVERY)
    assert bench.one(air(80)).sensed_ms == NOON - 86_400_000 + EVERY


def test_the_wall_clock_stepping_forward_a_year_keeps_arrivals_live() -> None:
    bench = Bench(json_route(time=False, seq=False))
    bench.one(air(80))
    bench.wall_ms += 365 * 86_400_000
    reading = bench.one(air(80))
    assert (reading.sensed_ms, reading.delivery) == (bench.wall_ms, Delivery.LIVE)


def test_a_stored_stamp_in_the_far_future_holds_nothing_up() -> None:
    bench = Bench(json_route(time=False, seq=False))
    bench.routes.remember("h", NOON + 86_400_000, None)
    assert bench.one(air(80)).sensed_ms == NOON


def test_a_busy_second_shifts_stamps_by_milliseconds() -> None:
    bench = Bench(json_route(time=False, seq=False))
    bench.routes.remember("h", NOON + 5, None)
    assert bench.one(air(80)).sensed_ms == NOON + 6


def senml_route() -> SensorRoute:
    return SensorRoute("h", "tent/air", "senml", Quantity.HUMIDITY, "%", EVERY, senml_name="h")


def test_a_senml_batch_gives_one_reading_a_record() -> None:
    bench = Bench(senml_route())
    decoded = bench.take(b'[{"n":"h","t":-60,"v":79},{"n":"h","t":-10,"v":80},{"n":"h","v":81}]')
    assert [(reading.sensed_ms - NOON, reading.delivery) for reading in decoded.readings] == [
        (-60_000, Delivery.LATE), (-10_000, Delivery.LIVE), (0, Delivery.LIVE),
    ]  # fmt: skip


def test_a_relative_time_in_the_future_is_now_or_ahead() -> None:
    bench = Bench(senml_route())
    decoded = bench.take(b'[{"n":"h","t":60,"v":79},{"n":"h","t":121,"v":80}]')
    assert [(reading.sensed_ms - NOON, reading.delivery) for reading in decoded.readings] == [
        (0, Delivery.LIVE), (1, Delivery.AHEAD),
    ]  # fmt: skip


def test_counts() -> None:
    bench = Bench()
    bench.one(air(80))
    bench.one(air(80), retain=True)
    bench.refused("x")
    assert bench.routes.delivered == {Delivery.LIVE: 1, Delivery.RETAINED: 1}
    assert bench.routes.rejected == {("tent/air", Reject.NOT_JSON): 1}
    assert bench.routes.topics() == ("tent/air",)


def test_a_board_set_back_together_with_us_is_heard_at_once() -> None:
    """Box and board were a year ahead, and a time server puts both right: it is not late for a year."""
    bench = Bench()
    year = 365 * 86_400_000
    bench.wall_ms += year
    assert bench.one(air(90, ts=bench.wall_ms / 1000, n=1)).delivery is Delivery.LIVE
    bench.wall_ms -= year
    bench.later(EVERY)
    assert bench.one(air(91, ts=bench.wall_ms / 1000, n=2)).delivery is Delivery.LIVE
    bench.later(EVERY)
    assert bench.one(air(92, ts=bench.wall_ms / 1000 - 15, n=3)).delivery is Delivery.LATE


def test_an_unset_clock_does_not_make_a_boards_time_be_forgotten() -> None:
    bench = Bench()
    assert bench.one(air(90, ts=NOON / 1000, n=1)).delivery is Delivery.LIVE
    bench.wall_ms, bench.sure = 9_000, False
    assert bench.one(air(91, ts=NOON / 1000 - 60, n=2)).delivery is Delivery.LATE
