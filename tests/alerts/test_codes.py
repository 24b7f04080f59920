"""One-time codes: what they promise is our own design; expected values follow from it by hand."""

import json
import stat
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.alerts.codes import FILE, LASTS_MS, MOST_WRONG, WRONG_WITHIN_MS, Codes, Verdict
from gillhouse.core.instant import Instant

NOW = 1_791_864_840_000
DAY_MS = 86_400_000


def at(later_ms: int, step_ms: int = 0) -> Instant:
    """A moment, with the wall clock moved by `step_ms` meanwhile."""
    return Instant(NOW + later_ms + step_ms, 1_000 + later_ms)


ALARM = "humidity-low:tent"


def drawn(*numbers: int) -> Callable[[int], int]:
    """Gives these, in turn."""
    left = iter(numbers)
    return lambda below: next(left)


def test_a_code_has_four_digits_and_is_good_for_its_person_alone(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(47))
    assert codes.make("1-1", "ana", ALARM, 7, at(0)) == "0047"
    verdict, issued = codes.check("ana", "0047", at(1))
    assert verdict is Verdict.GOOD and issued is not None
    assert (issued.alarm, issued.occurrence) == (ALARM, 7)
    assert codes.check("beno", "0047", at(1)) == (Verdict.WRONG, None)
    assert codes.check("ana", "0048", at(1)) == (Verdict.WRONG, None)


def test_a_second_attempt_at_a_message_carries_the_same_code(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(1, 2))
    assert (
        codes.make("1-1", "ana", ALARM, 7, at(0)) == codes.make("1-1", "ana", ALARM, 7, at(60_000)) == "0001"
    )
    assert codes.make("1-2", "ana", ALARM, 7, at(0)) == "0002"


def test_no_two_codes_of_a_person_are_alike(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(5, 5, 5, 6, 5))
    assert codes.make("1", "ana", ALARM, 7, at(0)) == "0005"
    assert codes.make("2", "ana", "door-open:tent", 1, at(0)) == "0006"
    assert codes.make("3", "beno", ALARM, 7, at(0)) == "0005"


def test_it_counts_once(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(1))
    codes.make("1", "ana", ALARM, 7, at(0))
    _, issued = codes.check("ana", "0001", at(0))
    assert issued is not None
    assert codes.spend(issued, at(5)) is True
    assert codes.spend(issued, at(5)) is False
    assert codes.check("ana", "0001", at(6))[0] is Verdict.USED


def test_it_ends_after_its_time_and_is_forgotten_after_twice_that(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(1))
    codes.make("1", "ana", ALARM, 7, at(0))
    assert codes.check("ana", "0001", at(LASTS_MS - 1))[0] is Verdict.GOOD
    assert codes.check("ana", "0001", at(LASTS_MS))[0] is Verdict.EXPIRED
    assert codes.check("ana", "0001", at(2 * LASTS_MS))[0] is Verdict.WRONG


@pytest.mark.parametrize("step_ms", [400 * DAY_MS, -400 * DAY_MS])
def test_a_clock_that_is_set_right_after_a_call_takes_no_code_back(tmp_path: Path, step_ms: int) -> None:
    """After a power cut a board may call before it knows the time."""
    codes = Codes(tmp_path, drawn(1))
    codes.make("1", "ana", ALARM, 7, at(0))
    assert codes.check("ana", "0001", at(60_000, step_ms))[0] is Verdict.GOOD
    assert codes.check("ana", "0001", at(LASTS_MS, step_ms))[0] is Verdict.EXPIRED


def test_of_an_earlier_run_one_from_a_clock_that_was_ahead_is_expired(tmp_path: Path) -> None:
    Codes(tmp_path, drawn(1)).make("1", "ana", ALARM, 7, at(0))
    assert Codes(tmp_path).check("ana", "0001", at(0, -1))[0] is Verdict.EXPIRED
    assert Codes(tmp_path).check("ana", "0001", at(0, LASTS_MS - 1))[0] is Verdict.GOOD
    assert Codes(tmp_path).check("ana", "0001", at(0, LASTS_MS))[0] is Verdict.EXPIRED


def test_a_restart_loses_neither_codes_nor_that_they_were_used(tmp_path: Path) -> None:
    first = Codes(tmp_path, drawn(1, 2))
    first.make("1", "ana", ALARM, 7, at(0))
    first.make("2", "ana", ALARM, 7, at(0))
    _, issued = first.check("ana", "0001", at(0))
    assert issued is not None
    first.spend(issued, at(0))
    again = Codes(tmp_path, drawn(2, 3))
    assert again.check("ana", "0001", at(0))[0] is Verdict.USED
    assert again.check("ana", "0002", at(0))[0] is Verdict.GOOD
    assert again.make("3", "ana", ALARM, 8, at(0)) == "0003"


def test_the_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    Codes(tmp_path, drawn(1)).make("1", "ana", ALARM, 7, at(0))
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


@pytest.mark.parametrize("content", ["", "[", '{"a": 1}', '[{"code": 1}]', "\x00"])
def test_a_file_that_is_no_list_of_codes_is_told_and_begun_anew(
    tmp_path: Path, content: str, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / FILE).write_text(content)
    codes = Codes(tmp_path, drawn(1))
    assert "cannot be answered" in caplog.text
    assert codes.make("1", "ana", ALARM, 7, at(0)) == "0001"
    assert json.loads((tmp_path / FILE).read_text())[0]["code"] == "0001"


def test_what_cannot_be_written_down_does_not_go_out(tmp_path: Path) -> None:
    codes = Codes(tmp_path / "gone", drawn(1))
    with pytest.raises(FileNotFoundError):
        codes.make("1", "ana", ALARM, 7, at(0))
    assert codes.check("ana", "0001", at(0))[0] is Verdict.WRONG


def test_wrong_codes_shut_the_door_for_the_rest_of_the_hour(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(4711))
    codes.make("1", "ana", ALARM, 7, at(0))
    for number in range(MOST_WRONG):
        assert codes.check("ana", f"{number:04}", at(number))[0] is Verdict.WRONG
    assert codes.check("ana", "4711", at(10)) == (Verdict.TOO_MANY_WRONG, None)
    assert codes.check("ana", "4711", at(WRONG_WITHIN_MS))[0] is Verdict.GOOD


def test_all_are_compared_whatever_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each in constant time (hmac.compare_digest of Python's library), and none is left out."""
    codes = Codes(tmp_path, drawn(*range(20)))
    for number in range(20):
        codes.make(str(number), "ana", ALARM, 7, at(0))
    compared: list[bytes] = []

    def watched(one: bytes, other: bytes) -> bool:
        compared.append(one)
        return one == other

    monkeypatch.setattr("gillhouse.alerts.codes.hmac.compare_digest", watched)
    for asked in ("0000", "0019", "9999", "", "a"):
        compared.clear()
        codes.check("ana", asked, at(0))
        assert len(compared) == 20


@given(st.text(max_size=12))
def test_nothing_but_the_code_is_the_code(asked: str) -> None:
    codes = Codes.__new__(Codes)
    Codes.__init__(codes, Path("/nowhere-at-all"), drawn(1))
    verdict, issued = codes.check("ana", asked, at(0))
    assert (verdict, issued) == (Verdict.WRONG, None)


def test_drawn_codes_cannot_be_foretold_from_earlier_ones(tmp_path: Path) -> None:
    """All ten thousand come about as often: 200 draws of the machine's own source fall into every tenth.

    By chance alone a tenth stays empty once in 140 million runs: 10 x 0.9 ** 200 = 7e-9.
    """
    codes = Codes(tmp_path)
    found = [codes.make(str(number), f"p{number}", ALARM, 1, at(0)) for number in range(200)]
    assert {code[0] for code in found} == set("0123456789")


def test_two_threads_spend_a_code_once(tmp_path: Path) -> None:
    codes = Codes(tmp_path, drawn(1))
    codes.make("1", "ana", ALARM, 7, at(0))
    _, issued = codes.check("ana", "0001", at(0))
    assert issued is not None
    won: list[bool] = []
    hands = [threading.Thread(target=lambda: won.append(codes.spend(issued, at(0)))) for _ in range(8)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert sorted(won) == [False] * 7 + [True]
