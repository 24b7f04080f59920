"""What a night tells of an open space's water: hosings, the call, its own reach. The night is invented."""

from pathlib import Path

from audit.nights import ROME, Book, at, shipped_config
from gillhouse.audit.night import Window
from gillhouse.audit.record import record
from gillhouse.audit.report import night_of
from gillhouse.audit.text import lines
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.reasons import Reason

BEGIN = at("2026-10-14 20:00")
H = 3_600_000


def reach(low: float, high: float) -> Event:
    facts = {"space": "barn", "low": low, "high": high, "part": 4, "within_pct": 80}
    return Event(EventKind.WATER, "barn", "barn", Reason.OWN_REACH, facts, (1,))


def told(tmp_path: Path) -> tuple[list[str], dict]:
    book = Book(tmp_path / "journal.db", shipped_config(), BEGIN - H)
    hosed = {"who": "Ada", "space": "barn", "text": "", "expected_h": 5.5}
    book.event(BEGIN - H // 2, reach(10.0, 20.0))
    book.event(BEGIN + H, Event(EventKind.WATER, "barn", "barn", Reason.HOSED, hosed, (1,)))
    book.event(BEGIN + H, reach(61.0, 78.0))
    book.event(BEGIN + 3 * H, reach(64.0, 84.0))
    for sensor in ("barn-rh", "barn-temp", "barn-co2"):
        every_s = book.config.farm.sensors[sensor].every_ms / 1000
        values = {"barn-rh": 70.0, "barn-temp": 14.0, "barn-co2": 450.0}[sensor]
        book.readings(sensor, BEGIN, every_s, [values + n % 2 / 10 for n in range(int(4 * 3600 / every_s))])
    with book.close() as reader:
        night = night_of(reader, Window(BEGIN, BEGIN + 4 * H, ROME), BEGIN + 4 * H)
        return lines(night), record(night)


def test_the_text_says_what_the_barn_comes_to_and_the_record_who_hosed(tmp_path: Path) -> None:
    """What was told before the night does not count; of two spans the outer edges."""
    text, record = told(tmp_path)
    assert "  Its own reach lately: 61-84 %." in text
    (barn,) = [one for one in record["nights"] if one["space"] == "barn"]
    assert barn["own_reach"] == [61.0, 84.0]
    assert [note["text"] for note in barn["notes"]] == ["Ada hosed barn"]
    assert all(one["own_reach"] is None for one in record["nights"] if one["space"] != "barn")
