"""The core as the last run left it; also where that run was another version's."""

from pathlib import Path

import pytest

from audit.nights import Book, at, shipped_config
from gillhouse.core.calibration import Point, calibration
from gillhouse.core.farm import Farm
from gillhouse.core.inputs import Act, Calibrated, OperatorAction
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings
from gillhouse.errors import StoreError
from gillhouse.replay import replay
from gillhouse.resume import CHECKPOINT, farm_as_left
from gillhouse.store.reader import Reader
from gillhouse.store.rows import MetaRow, SegmentRow

BEGIN = at("2026-10-13 20:00")
JAR = calibration(Quantity.HUMIDITY, (Point(75.5, 78.25, 0.2, "salt", BEGIN),), BEGIN)
"""One jar of table salt, 75.5 % at 20 C (Greenspan 1977), in which the sensor read 78.25."""


def left(path: Path, **strange: object) -> tuple[Reader, FarmSettings]:
    """A store whose last run was told of a correction, then kept its state, with `strange` fields in it."""
    config = shipped_config()
    book, farm = Book(path, config, BEGIN), Farm(config.farm)
    for item in (Calibrated("tent-rh", JAR, "anna"), OperatorAction(Act.NOTE, "tent", "anna", "zip closed")):
        farm.handle(book.seq, book.instant(BEGIN + 1000), item)
        book.input(BEGIN + 1000, item)
    state = {"seq": book.seq, "config": config.digest, "snapshot": farm.snapshot() | strange}
    book.add(MetaRow(CHECKPOINT, state))
    begun = book.instant(BEGIN + 2000)
    book.add(SegmentRow(book.seq, begun, config.digest, "0.0", "start", farm.snapshot() | strange))
    return book.close(), config.farm


def test_it_goes_on_from_the_kept_state(tmp_path: Path) -> None:
    reader, settings = left(tmp_path / "journal.db")
    with reader:
        kept = reader.meta(CHECKPOINT)["snapshot"]
        assert farm_as_left(reader, settings).snapshot() == Farm.restore(settings, kept).snapshot()


def test_a_state_of_another_version_costs_neither_the_start_nor_corrections(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    reader, settings = left(tmp_path / "journal.db", colour="green")
    with reader:
        farm = farm_as_left(reader, settings)
    assert "78.25" in str(farm.snapshot())
    assert "no field 'colour'" in caplog.text
    assert "alarms, the day's water and overrides begin anew" in caplog.text


def test_a_night_of_another_version_is_not_decided_again_but_said_so(tmp_path: Path) -> None:
    reader, _ = left(tmp_path / "journal.db", colour="green")
    with reader, pytest.raises(StoreError, match=r"version 0\.0 decided then.*no field 'colour'"):
        replay(reader, BEGIN + 3000, BEGIN + 9000)
