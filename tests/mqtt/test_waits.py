"""What the link learns: protocol, waits, takeovers. Pure, so no broker and no time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.mqtt import Protocol, Takeovers, Waits


def test_waits_double_up_to_the_longest() -> None:
    waits = Waits(first_ms=1_000, longest_ms=30_000)
    assert [waits.next_ms(1.0) for _ in range(7)] == [1_000, 2_000, 4_000, 8_000, 16_000, 30_000, 30_000]
    waits.held(9_999)
    assert waits.next_ms(1.0) == 30_000
    waits.held(10_000)
    assert waits.next_ms(0.0) == 500


@given(st.lists(st.floats(0, 1), max_size=40))
def test_waits_stay_between_half_and_whole(chances: list[float]) -> None:
    waits, whole = Waits(first_ms=1_000, longest_ms=30_000), 1_000
    for chance in chances:
        assert whole / 2 <= waits.next_ms(chance) <= whole
        whole = min(whole * 2, 30_000)


def test_auto_falls_back_once_and_says_why() -> None:
    protocol = Protocol("auto")
    assert (protocol.version, protocol.why) == ("5", "")
    assert protocol.unsupported()
    assert (protocol.version, protocol.why) == ("3.1.1", "the broker does not speak MQTT 5")
    assert not protocol.unsupported()


def test_closes_count_only_in_a_row() -> None:
    protocol = Protocol("auto")
    assert not protocol.closed_early() and not protocol.closed_early()
    protocol.answered()
    assert not protocol.closed_early() and not protocol.closed_early()
    assert protocol.version == "5"
    assert protocol.closed_early()
    assert protocol.version == "3.1.1"


@pytest.mark.parametrize("wish", ["5", "3.1.1"])
def test_a_stated_protocol_is_kept(wish: str) -> None:
    protocol = Protocol(wish)
    assert not protocol.unsupported()
    assert not any(protocol.closed_early() for _ in range(9))
    assert protocol.version == wish


def test_an_unknown_protocol_is_refused() -> None:
    with pytest.raises(ValueError, match=r"'4' is unknown; use auto, 5 or 3\.1\.1"):
        Protocol("4")


def test_takeovers_are_a_storm_when_more_than_three_fall_in_a_minute() -> None:
    takeovers = Takeovers()
    assert [takeovers.another(at) for at in (0, 1_000, 2_000, 59_999)] == [False, False, False, True]
    assert [takeovers.another(at) for at in (200_000, 300_000)] == [False, False]
