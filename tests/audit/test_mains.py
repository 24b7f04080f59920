"""Times without mains in a night: when, what the crop went through, and when it was right again.

Every figure is worked by hand from the readings each test makes: one a minute, none from cut to return.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from audit.nights import HOUR_MS, ROME, Book, at, shipped_config
from gillhouse.audit import mains
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.html import as_html
from gillhouse.audit.night import Night, Window
from gillhouse.audit.record import record
from gillhouse.audit.text import as_text
from gillhouse.config import Config
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.reasons import Reason

BEGIN = at("2026-10-13 20:00")
WINDOW = Window(BEGIN, BEGIN + 6 * HOUR_MS, ROME)
MIN = 60_000
CUT, BACK = BEGIN + 60 * MIN, BEGIN + 150 * MIN
"""21:00 to 22:30."""


def config() -> Config:
    """The shipped farm with an input that sees its mains."""
    known = "  tent-rh:\n"
    power = "  power: {quantity: mains, topic: power, every: 1 min, format: words, "
    power += "words: {present: a, gone: b}}\n"
    return shipped_config(sensors=(known, power + known))


def told(reason: Reason, ms: int, sensor: str = "power") -> tuple[int, Event]:
    return ms, Event(EventKind.DECISION, sensor, None, reason, {"sensor": sensor}, ())


def night(folder: Path, *events: tuple[int, Event], right_from: int = 170) -> Night:
    """The tent: 92 %, from the return 80 %, right again from minute `right_from` on."""
    book = Book(folder / "journal.db", config(), BEGIN)
    for minute in range(360):
        ms = BEGIN + minute * MIN
        if CUT <= ms < BACK:
            continue
        dry = BACK <= ms < BEGIN + right_from * MIN
        book.reading("tent-rh", ms, 80.0 if dry else 92.0)
        book.reading("tent-temp", ms, 12.5 if dry else 18.0)
        book.reading("tent-co2", ms, 2400.0 if dry else 700.0)
    for ms, event in events:
        book.event(ms, event)
    with book.close() as reader:
        return figures(gather(reader, WINDOW, WINDOW.to_ms), ["tent"])


def test_one_sentence_says_what_the_crop_went_through(tmp_path: Path) -> None:
    one = night(tmp_path, told(Reason.MAINS_GONE, CUT), told(Reason.STAGGERED, BACK))
    line = mains.sentence(one)
    assert line.startswith(
        "MAINS off 21:00-22:30 (90 min): Tent driest 80 %, CO2 worst 2400 ppm, coldest 12.5 C"
    )
    assert line.endswith("right again 22:50.")
    assert line in as_text(one).splitlines()
    assert line in as_html(one)
    (plain,) = record(one)["mains_off"]
    assert plain["lasted_s"] == 5400.0
    assert plain["back"] is True
    (tent,) = plain["spaces"]
    assert tent["extremes"]["humidity"] == {"min": 80.0, "max": 92.0}
    assert tent["right_again"] == "2026-10-13T22:50:00+02:00"
    assert 5400 - 600 < tent["unseen_s"] < 5400


def test_what_was_not_seen_is_said_and_what_is_not_right_yet_too(tmp_path: Path) -> None:
    one = night(tmp_path, told(Reason.MAINS_GONE, CUT), told(Reason.STAGGERED, BACK), right_from=400)
    assert "(nothing seen for " in mains.sentence(one)
    assert mains.sentence(one).endswith("not right again by 02:00.")


def test_still_off_at_the_end_and_gone_before_the_begin(tmp_path: Path) -> None:
    one = night(tmp_path, told(Reason.MAINS_GONE, CUT))
    assert mains.sentence(one).startswith("MAINS off 21:00-now (5 h 00 min): Tent")
    assert record(one)["mains_off"][0]["back"] is False
    (tmp_path / "later").mkdir()
    seen = night(tmp_path / "later", told(Reason.STAGGERED, BEGIN + 5 * MIN))
    assert mains.sentence(seen).startswith("MAINS off 20:00-20:05 (5 min): Tent driest 92 %")


def test_a_blink_and_a_relays_own_lines_are_no_cut(tmp_path: Path) -> None:
    blink = (told(Reason.MAINS_GONE, CUT), told(Reason.STAGGERED, CUT + 20_000))
    one = night(tmp_path, *blink, told(Reason.MAINS_GONE, CUT, "tent-mist"))
    assert mains.sentence(one) == ""
    assert record(one)["mains_off"] == []
    assert "MAINS" not in as_text(one)


@pytest.mark.parametrize("count", [2, 3])
def test_several_cuts_are_one_sentence_about_the_longest(tmp_path: Path, count: int) -> None:
    more = [BEGIN + (200 + 20 * turn) * MIN for turn in range(count - 1)]
    events = [told(Reason.MAINS_GONE, CUT), told(Reason.STAGGERED, BACK)]
    for ms in more:
        events += [told(Reason.MAINS_GONE, ms), told(Reason.STAGGERED, ms + 2 * MIN)]
    line = mains.sentence(night(tmp_path, *events))
    assert line.startswith("MAINS off 21:00-22:30")
    assert line.endswith({2: "; off once more, 2 min.", 3: "; off twice more, 4 min."}[count])


def test_many_spaces_are_counted(tmp_path: Path) -> None:
    one = night(tmp_path, told(Reason.MAINS_GONE, CUT), told(Reason.STAGGERED, BACK))
    (cut,) = one.mains
    many = replace(one, mains=(replace(cut, spaces=cut.spaces * 6),))
    assert mains.sentence(many).count("Tent driest") == mains.MOST_SPACES
    assert mains.sentence(many).endswith("; and 2 more.")
