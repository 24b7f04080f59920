"""What the morning says of flies, over a real store: an invented month at a steady 20 C."""

from pathlib import Path

from audit.nights import Book, _decide, at, note, shipped_config
from gillhouse.audit.evidence import gather
from gillhouse.audit.figures import figures
from gillhouse.audit.html import as_html
from gillhouse.audit.night import Window
from gillhouse.audit.pests_soon import Soon, soon
from gillhouse.audit.record import record
from gillhouse.audit.text import as_text
from gillhouse.config import Config
from gillhouse.config.pests_file import load_pests
from gillhouse.core.crops import Stage
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import BatchAct, BatchAction, Started
from gillhouse.records.batch_book import books
from gillhouse.store.reader import Reader

DAY = 86_400_000
BEGIN = at("2026-10-01 12:00")
CONFIG = shipped_config()


def lived(folder: Path, *notes: tuple[int, str]) -> Reader:
    """Grey oyster in the room for thirty days; notes by the day they were written."""
    book, farm = Book(folder / "journal.db", CONFIG, BEGIN), Farm(CONFIG.farm)
    came = BatchAction(
        BatchAct.ADD, "OY-7", "ana", species="grey-oyster", stage=Stage.SPAWN_RUN, kg=60.0, space="room"
    )
    _decide(book, farm, BEGIN, Started("test", CONFIG.digest, True, None))
    _decide(book, farm, BEGIN + 1000, came)
    for day, text in notes:
        _decide(book, farm, BEGIN + day * DAY, note("room", text))
    book.readings("room-temp", BEGIN, 600, [20.0] * 144 * 30)
    return book.close()


def told(reader: Reader, day: float, config: Config = CONFIG) -> list[Soon]:
    with reader:
        return list(soon(reader, config, load_pests(), books(reader), BEGIN + round(day * DAY)))


def test_the_crops_own_fly_is_told_a_week_before_it_can_come_out(tmp_path: Path) -> None:
    """22.2 days at 20 C (Korean J. Appl. Entomol. 1998) less 18 %: 18.2 days on is 19 October."""
    (one,) = told(lived(tmp_path), 13)
    assert (one.space, one.pest) == ("room", "sciarid")
    assert one.words == (
        "dark-winged gnats: if any came in, the next flies can come out from Mon 19 Oct on,"
        " pick and clear before"
    )
    assert one.source.startswith("Korean Journal of Applied Entomology, 1998")


def test_nothing_is_said_while_it_is_far(tmp_path: Path) -> None:
    assert told(lived(tmp_path), 5) == []


def test_one_that_was_seen_is_told_whatever_the_crop(tmp_path: Path) -> None:
    """Gall midges at 20 C: 92.7 / (20 - 8.3) = 7.9 days a cycle, 6.5 at the quickest."""
    reader = lived(tmp_path, (2, "flies: cecid larva seen on 2026-10-03 12:00"))
    found = {one.pest: one.words for one in told(reader, 3)}
    assert found["cecid"].startswith("gall midges: the next daughter larvae can come out from ")


def test_cards_that_double_are_told_while_they_are_fresh(tmp_path: Path) -> None:
    notes = [
        (day, f"flies: phorid {count} caught on 1 trap in 2 days until 2026-10-{day + 1:02d} 12:00")
        for day, count in ((2, 2), (4, 4), (6, 8), (8, 16))
    ]
    reader = lived(tmp_path, *notes)
    found = {one.pest: one.words for one in told(reader, 9)}
    assert found["phorid"] == "humpbacked flies: on cards they double in 2 days"
    with Reader(tmp_path / "journal.db") as later:
        assert not any("double" in one.words for one in told(later, 20))


def test_without_a_batch_nothing_is_said(tmp_path: Path) -> None:
    book, farm = Book(tmp_path / "journal.db", CONFIG, BEGIN), Farm(CONFIG.farm)
    _decide(book, farm, BEGIN, Started("test", CONFIG.digest, True, None))
    assert told(book.close(), 10) == []


def test_the_morning_tells_it_in_every_form(tmp_path: Path) -> None:
    """Text, page and JSON of a night say it, each space by its name; asked for another space they do not."""
    window = Window(BEGIN + 13 * DAY, BEGIN + 13 * DAY + 12 * 3_600_000, CONFIG.farm.zone)
    with lived(tmp_path) as reader:
        evidence = gather(reader, window, window.to_ms)
    night, other = figures(evidence), figures(evidence, ("tent",))
    words = "Room: dark-winged gnats: if any came in, the next flies can come out from"
    assert words in " ".join(as_text(night).split())
    assert words in as_html(night) and "Korean Journal of Applied Entomology" in as_html(night)
    (told_of,) = record(night)["ahead"]
    assert told_of["space"] == "room" and told_of["words"].startswith("dark-winged gnats")
    assert (other.ahead, record(other)["ahead"]) == ((), [])
