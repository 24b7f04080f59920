"""Alarm figures from a real store: which rows count, what was out of sight, and the command that tells it.

The expected figures are worked by hand from the rows written here.
"""

import json
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from gillhouse.audit.alarm_figures import Acked
from gillhouse.audit.alarm_log import blind_s, figures_between
from gillhouse.audit.alarm_words import as_plain, as_text
from gillhouse.clock import VirtualClock
from gillhouse.commands.alarms import command
from gillhouse.core.edges import StoreSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from gillhouse.store.rows import AlarmRow, ConfigRow, Entry, EventRow, OutboxRow, OutboxUpdate, SegmentRow
from gillhouse.store.writer import Writer

ROME = ZoneInfo("Europe/Rome")
T0 = 1_791_928_800_000
"""2026-10-14 00:00 in Rome, 2026-10-13 22:00 UTC by `date -u -d @1791928800`."""
HOUR = 3_600_000
FARM = """
farm: {name: Farm, zone: Europe/Rome}
broker: {host: 127.0.0.1}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: lions-mane, stage: fruiting, kg: 9}}
sensors: {}
"""


def told(
    at_ms: int, alarm: str, transition: Transition, announce: bool = False, hold: str = "", who: str = ""
) -> AlarmRow:
    facts = {"hold": hold} if hold else {}
    kind = alarm.partition(":")[0]
    notice = AlarmNotice(alarm, kind, 1, transition, 2, "B", announce, "tent", facts, who)
    return AlarmRow(1, T0 + at_ms, notice)


def link(at_ms: int, up: bool) -> EventRow:
    return EventRow(1, T0 + at_ms, Event(EventKind.LINK, "broker", None, None, {"up": up}))


ROWS: tuple[Entry, ...] = (
    SegmentRow(1, Instant(T0, 0), "d", "1", "start", {}),
    ConfigRow("d", T0, {"farm.yaml": FARM}),
    told(1 * HOUR, "tank-empty:tank", Transition.ACT, announce=True),
    OutboxRow(1, T0 + HOUR + 30_000, "post", "s", "t", T0, "tank-empty:tank", 1),
    OutboxUpdate(1, 2, T0 + HOUR + 50_000, "went by hook", T0 + HOUR + 51_000),
    OutboxRow(2, T0 + HOUR + 35_000, "hook", "s", "t", T0, "tank-empty:tank", 1),
    OutboxUpdate(2, 1, T0 + HOUR + 36_000, None, T0 + HOUR + 36_000),
    told(1 * HOUR + 600_000, "tank-empty:tank", Transition.ACK, who="ana"),
    told(2 * HOUR, "tank-empty:tank", Transition.SHELVE, hold="shelved-timed", who="ana"),
    told(3 * HOUR, "tank-empty:tank", Transition.UNSHELVE, hold="shelved-timed"),
    told(4 * HOUR, "door-open:tent", Transition.SHELVE, hold="out-of-service", who="ana"),
    told(5 * HOUR, "door-open:tent", Transition.ACT),
    link(6 * HOUR, up=False),
    link(7 * HOUR, up=True),
    EventRow(1, T0 + 9 * HOUR, Event(EventKind.STARTED, "daemon", None, None, {"away_s": 1_800.0})),
    link(23 * HOUR, up=False),
)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / JOURNAL
    writer = Writer(path, VirtualClock(T0), StoreSettings(), lambda _: None, lambda _ok, _why: None)
    writer.start()
    writer.put(*ROWS)
    assert writer.close()
    return path


def test_the_rows_of_a_store_give_the_figures(journal: Path) -> None:
    with Reader(journal) as reader:
        found = figures_between(reader, T0, T0 + 24 * HOUR, T0 + 26 * HOUR, ROME)
    assert found.announced == 1, "the door was held back"
    assert found.acked == Acked(1, 600, 600, 600, 0)
    assert {name: dict(hours) for name, hours in found.kept_back_h.items()} == {
        "tank-empty:tank": {"SHELVE": 1.0}, "door-open:tent": {"OOS": 20.0},
    }  # fmt: skip
    assert (found.channels["hook"].got_out, found.channels["hook"].median_s) == (1, 36)
    assert (found.channels["post"].tried, found.channels["post"].got_out) == (1, 0)
    assert found.stale == ("tank-empty:tank",), "on for 25 h when it is asked"
    assert found.standing == {(T0 + 24 * HOUR) // 1000: ("door-open:tent", "tank-empty:tank")}
    assert found.blind_s == {"box": 1_800, "broker": 7_200, "store": 0}


def test_blind_time_is_cut_to_the_period(journal: Path) -> None:
    with Reader(journal) as reader:
        assert blind_s(reader, T0 + 6 * HOUR + 1_800_000, T0 + 8 * HOUR) == {
            "box": 0, "broker": 1_800, "store": 0,
        }  # fmt: skip


def test_the_words_stand_beside_what_is_wished_for(journal: Path) -> None:
    with Reader(journal) as reader:
        found = figures_between(reader, T0, T0 + 24 * HOUR, T0 + 26 * HOUR, ROME)
    text = as_text(found, ROME)
    assert "Alarms from 2026-10-14 00:00 to 2026-10-15 00:00 (1.0 days)" in text
    assert "told            1, 1.00 a day (wished: 10 at most)" in text
    assert "seen            1, half within 10 min" in text
    assert "not watched     box 30 min, broker 120 min" in text
    plain = json.loads(json.dumps(as_plain(found)))
    assert plain["acked"] == {"count": 1, "median_s": 600.0, "p90_s": 600.0, "most_s": 600.0, "never": 0}


def test_the_command_tells_it_also_as_json(journal: Path) -> None:
    ran = CliRunner().invoke(command, ["--state", str(journal.parent), "--days", "30", "--json"])
    assert ran.exit_code == 0, ran.output
    assert json.loads(ran.output)["announced"] in (0, 1)
    ran = CliRunner().invoke(command, ["--state", str(journal.parent)])
    assert ran.output.startswith("Alarms from ")
