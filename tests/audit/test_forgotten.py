"""What a broker forgot is told in the night, with the span the core named (tests/core/test_gaps.py)."""

from pathlib import Path

from audit.nights import HOUR_MS, ROME, Book, at, shipped_config
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.html import as_html
from gillhouse.audit.night import Night, Window
from gillhouse.audit.record import record
from gillhouse.audit.text import as_text
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Link, LinkChange, Started
from gillhouse.core.outputs import EventKind

BEGIN = at("2026-10-13 20:00")
WINDOW = Window(BEGIN, BEGIN + 2 * HOUR_MS, ROME)
MIN = 60_000


def night(folder: Path, *gaps: tuple[int, int]) -> Night:
    """Each gap in minutes since the begin, as the core itself makes a line of it."""
    config = shipped_config()
    book, farm = Book(folder / "journal.db", config, BEGIN), Farm(config.farm)
    farm.handle(1, book.instant(BEGIN), Started("test", config.digest, True, None))
    book.readings("tent-rh", BEGIN, 60.0, [92.0] * 120)
    for begin, end in gaps:
        ms = BEGIN + end * MIN
        link = LinkChange(Link.BROKER, True, lost_from_ms=BEGIN + begin * MIN)
        for event in farm.handle(book.seq, book.instant(ms), link).events:
            if event.kind is EventKind.GAP:
                book.event(ms, event)
    with book.close() as reader:
        return figures(gather(reader, WINDOW, WINDOW.to_ms))


def test_it_is_said_in_every_form(tmp_path: Path) -> None:
    one = night(tmp_path, (30, 36))
    line = "THE BROKER forgot what waited for this box: readings of 20:30-20:36 may be missing."
    assert line in as_text(one).splitlines()
    assert line in as_html(one)
    assert record(one)["forgotten"] == [
        {"start": "2026-10-13T20:30:00+02:00", "end": "2026-10-13T20:36:00+02:00", "lasted_s": 360.0}
    ]
    assert record(one)["away"] == []


def test_one_from_before_the_night_is_cut_and_many_are_counted(tmp_path: Path) -> None:
    one = night(tmp_path, (-60, 5), (10, 11), (20, 21), (30, 31), (40, 41))
    assert "readings of 20:00-20:05, 20:10-20:11, 20:20-20:21 and 2 more times may be missing." in as_text(
        one
    )
    assert len(record(one)["forgotten"]) == 5


def test_where_nothing_was_forgotten_nothing_is_said(tmp_path: Path) -> None:
    one = night(tmp_path)
    assert "BROKER" not in as_text(one)
    assert record(one)["forgotten"] == []
