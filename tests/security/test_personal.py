"""Personal data can be listed and taken out by one command; the log's chain holds before and after.

What counts as personal data, and the rights to see it and to have it erased: Regulation (EU) 2016/679,
articles 4(1), 15 and 17 (from memory).
"""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse.__main__ import cli
from gillhouse.clock import VirtualClock
from gillhouse.config import load_files, shipped_dir
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Event, EventKind, Transition
from gillhouse.store.migrate import migrate
from gillhouse.store.reader import Reader
from gillhouse.store.rows import AlarmRow, ConfigRow, EventRow, InputRow, MetaRow, OutboxRow, SegmentRow
from gillhouse.store.schema import MIGRATIONS
from store.kept import T0_MS, writing

NAME, FULL, MAIL, PHONE = "zenobia", "Zenobia Quill", "zq@example.org", "+49 151 0000 4711"
TRACES = (NAME, FULL, MAIL, PHONE)

PERSON = f"""
  {NAME}:
    name: {FULL}
    phone: "{PHONE}"
    reach: [{{channel: house}}]
"""


STATE = {"overrides": {"fan": {"who": NAME}}, "called": [NAME], "people": {NAME: {}}}


def farm() -> str:
    text = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    assert "\npeople:\n" in text
    return text.replace("\npeople:\n", f"\npeople:{PERSON}", 1)


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A log of a version before the chain that names her, and then one with."""
    db = sqlite3.connect(tmp_path / "journal.db", isolation_level=None)
    migrate(db, 5, MIGRATIONS[:3])
    db.execute(
        "INSERT INTO events VALUES (1, 1, ?, 'note', 'tent', 'tent', NULL, ?, '[1]')",
        (T0_MS - 5000, f'{{"text":"old","who":"{NAME}"}}'),
    )
    db.execute(
        "INSERT INTO alarms VALUES (1, 1, ?, 'a:tent', 'a', 1, 'ACK', 1, 'C', 0, NULL, ?, '{}')",
        (T0_MS - 5000, NAME),
    )
    db.close()
    now = Instant(T0_MS, 0)
    config = load_files({"farm.yaml": farm()})
    ack = AlarmNotice("humidity-low:tent", "humidity-low", 1, Transition.ACK, 1, "C", False, "tent", {}, NAME)
    note = OperatorAction(Act.NOTE, "tent", NAME, "zip closed")
    with writing(tmp_path / "journal.db", VirtualClock(T0_MS)) as kept:
        kept.writer.put(
            ConfigRow(config.digest, T0_MS, config.files),
            SegmentRow(1, now, config.digest, "0", "start", STATE),
            InputRow(1, now, note),
            InputRow(2, now, replace(note, who="beno")),
            EventRow(1, T0_MS, Event(EventKind.NOTE, "tent", "tent", None, {"who": NAME, "text": "x"})),
            AlarmRow(1, T0_MS, ack),
            MetaRow("state", {"snapshot": {"held": {"who": NAME}}}),
            MetaRow("calls", {"told": [NAME, "beno"], "people": {NAME: {"night": 1}}}),
            OutboxRow(1, T0_MS, "mail", "TENT", "TENT DRY", T0_MS, attachments=f'{{"person":"{NAME}"}}'),
        )
    return tmp_path


def run(state: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, [*words, "--state", str(state)])
    return done.exit_code, f"{done.output}{done.exception or ''}"


def traces_in(path: Path) -> list[str]:
    held = b"".join(one.read_bytes() for one in sorted(path.glob("journal.db*")))
    return [one for one in TRACES if one.encode() in held]


def test_the_log_itself_holds_numbers_and_readers_see_names(state: Path) -> None:
    db = sqlite3.connect(state / "journal.db")
    rows = [
        *db.execute("SELECT facts FROM events WHERE place IS NOT NULL"),
        *db.execute("SELECT body FROM inputs"),
        *db.execute("SELECT who FROM alarms WHERE place IS NOT NULL"),
        *db.execute("SELECT value FROM meta WHERE key = 'state'"),
    ]
    db.close()
    assert not [row for row in rows if NAME in row[0]]
    with Reader(state / "journal.db") as reader:
        assert [at.event.facts["who"] for at in reader.events(0, 1 << 48)] == [NAME, NAME]
        assert [at.notice.who for at in reader.alarms(0, 1 << 48)] == [NAME, NAME]
        found = reader.input(1)
        assert found is not None
        assert found[2].who == NAME  # type: ignore[union-attr]
        assert reader.meta("state") == {"snapshot": {"held": {"who": NAME}}}


def test_it_is_listed(state: Path) -> None:
    code, said = run(state, "personal")
    assert code == 0
    assert f"{NAME}  3 rows" in said
    assert "beno  1 rows" in said
    for trace in (FULL, PHONE):
        assert trace in said
    assert "Messages kept, sent or not: 1" in said


def test_it_is_erased_without_a_trace_and_the_chain_holds(state: Path) -> None:
    with Reader(state / "journal.db") as reader:
        before = reader.head()
        (segment,) = reader.segments()
    assert set(traces_in(state)) >= {NAME, FULL, PHONE}
    code, said = run(state, "personal", "--erase", NAME, "--yes")
    assert code == 0, said
    assert traces_in(state) == []
    code, said = run(state, "verify", "--head", str(before))
    assert code == 0, said
    with Reader(state / "journal.db") as reader:
        whos = [at.event.facts["who"] for at in reader.events(0, 1 << 48)]
        assert len(set(whos)) == 1
        assert whos[0].startswith("former-")  # type: ignore[union-attr]
        files = reader.config(segment.digest)
        assert files is not None
        again = load_files(files)
        assert any(one.id.startswith("former-") for one in again.alerts.people)
        found = reader.input(2)
        assert found is not None
        assert found[2].who == "beno"  # type: ignore[union-attr]


def test_a_number_is_never_given_to_somebody_else(state: Path) -> None:
    run(state, "personal", "--erase", NAME, "--yes")
    with writing(state / "journal.db", VirtualClock(T0_MS + 1000)) as kept:
        for number, who in enumerate(("carla", "former-1")):
            note = OperatorAction(Act.NOTE, "tent", who, "x")
            kept.writer.put(InputRow(900_000 + number, Instant(T0_MS + 1000, 1000), note))
    with Reader(state / "journal.db") as reader:
        numbers = {known.name: known.number for known in reader.people()}
        assert numbers["carla"] > 2
        assert "former-1" not in numbers
        assert reader.verify().findings == []


def test_nobody_is_erased_by_mistake(state: Path) -> None:
    code, said = run(state, "personal", "--erase", "nobody", "--yes")
    assert code != 0
    assert "nobody is called" in said
    assert set(traces_in(state)) >= {NAME, FULL}


def test_a_running_daemon_is_not_written_under(state: Path) -> None:
    with writing(state / "journal.db", VirtualClock(T0_MS)):
        code, said = run(state, "personal", "--erase", NAME, "--yes")
    assert code != 0
    assert "another gillhouse" in said


def test_whatever_the_person_was_called_by_goes(state: Path) -> None:
    """Asked for by the full name, the id goes too: it is the same person of the config."""
    code, said = run(state, "personal", "--erase", FULL, "--yes")
    assert code == 0, said
    assert traces_in(state) == []
    assert run(state, "verify")[0] == 0
    with Reader(state / "journal.db") as reader:
        assert [known.name for known in reader.people()] == ["beno"]
        told = reader.meta("calls")
        assert told["told"][1] == "beno"
        assert told["told"][0] in told["people"]
