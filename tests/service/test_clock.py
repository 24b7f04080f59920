"""Box and both clocks: nobody sleeps, nothing is lost, and rest is told truly."""

import threading

import pytest

from gillhouse.clock import Box, SystemClock, VirtualClock
from servers import wait_until


def _reader(box: Box[int], until: int | None) -> tuple[threading.Thread, list[int | None]]:
    got: list[int | None] = []
    thread = threading.Thread(target=lambda: got.append(box.take(until)))
    thread.start()
    return thread, got


def test_an_item_wakes_the_reader() -> None:
    box: Box[int] = Box(VirtualClock(0))
    thread, got = _reader(box, None)
    box.put(7)
    thread.join(5)
    assert got == [7]


def test_virtual_time_wakes_the_reader_at_its_deadline_and_not_before() -> None:
    clock = VirtualClock(1_000_000)
    box: Box[int] = Box(clock)
    thread, got = _reader(box, 500)
    wait_until(lambda: box.at_rest(0), 5, "the reader to wait")
    clock.advance_to(499)
    assert box.at_rest(499)
    assert clock.next_wake_ms() == 500
    clock.advance_to(500)
    thread.join(5)
    assert got == [None]
    assert clock.now().wall_ms == 1_000_500


def test_rest_means_waiting_with_nothing_queued_and_nothing_due() -> None:
    clock = VirtualClock(0)
    box: Box[int] = Box(clock)
    assert not box.at_rest(0), "nobody reads yet"
    thread, _ = _reader(box, 100)
    wait_until(lambda: box.at_rest(0), 5, "the reader to wait")
    assert not box.at_rest(100), "its deadline has come"
    box.put(1)
    thread.join(5)
    assert not box.at_rest(0), "the item is being handled"


def test_a_closed_box_gives_what_it_holds_and_then_none() -> None:
    box: Box[int] = Box(SystemClock())
    box.put(1)
    box.put(2)
    box.close()
    assert not box.closed
    assert [box.take(), box.take(), box.take()] == [1, 2, None]
    assert box.closed


def test_closing_wakes_a_waiting_reader() -> None:
    box: Box[int] = Box(VirtualClock(0))
    thread, got = _reader(box, None)
    wait_until(lambda: box.at_rest(0), 5, "the reader to wait")
    box.close()
    thread.join(5)
    assert got == [None]


def test_virtual_time_never_goes_back() -> None:
    clock = VirtualClock(0)
    clock.advance_to(10)
    with pytest.raises(ValueError, match="cannot go back by 1 ms"):
        clock.advance_to(9)


def test_stepping_the_wall_leaves_the_monotonic_clock_alone() -> None:
    clock = VirtualClock(1_000)
    clock.step_wall(-86_400_000)
    assert (clock.now().wall_ms, clock.now().mono_ms) == (1_000 - 86_400_000, 0)


def test_the_system_clock_waits_no_longer_than_asked_and_counts_from_its_making() -> None:
    clock = SystemClock()
    box: Box[int] = Box(clock)
    assert box.take(clock.now().mono_ms + 5) is None
    assert 5 <= clock.now().mono_ms < 5_000


def test_many_writers_lose_nothing() -> None:
    box: Box[int] = Box(SystemClock())

    def write(first: int) -> None:
        for item in range(first, first + 500):
            box.put(item)

    writers = [threading.Thread(target=write, args=(n * 500,)) for n in range(4)]
    for writer in writers:
        writer.start()
    got = [box.take() for _ in range(2_000)]
    assert sorted(item for item in got if item is not None) == list(range(2_000))


def test_a_box_that_is_too_full_holds_up_whoever_fills_it():
    box: Box[int] = Box(SystemClock())
    for n in range(11):
        box.put(n)
    went_on = threading.Event()

    def fill() -> None:
        box.wait_for_room(10, 30.0)
        went_on.set()

    filler = threading.Thread(target=fill, daemon=True)
    filler.start()
    for n in range(5):
        assert box.take() == n
    assert not went_on.is_set(), "six of at most ten are left: half of them must go first"
    assert box.take() == 5
    assert went_on.wait(10.0)
    filler.join()


def test_a_box_with_room_holds_nobody_up_and_a_full_one_not_for_good():
    box: Box[int] = Box(SystemClock())
    box.put(1)
    box.wait_for_room(1, 30.0)
    box.put(2)
    box.wait_for_room(1, 0.01)
    assert len(box) == 2
