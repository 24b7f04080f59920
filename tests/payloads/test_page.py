"""The page on payloads names every format, unit, fate and reason there is."""

import re
from pathlib import Path

from gillhouse.core.inputs import Delivery
from gillhouse.core.quantities import UNITS
from gillhouse.payloads import Reject
from gillhouse.payloads.formats import FORMATS
from gillhouse.payloads.json_pointer import MAX_DEPTH

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "payloads.md").read_text()


def rows(heading: str) -> dict[str, str]:
    """First cell, without back quotes, to the whole line, of the tables in a section."""
    section = PAGE.split(f"## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if re.match(r"\| `", line)]
    return {line.split("|")[1].strip(" `"): line for line in lines}


def test_every_reason_is_explained() -> None:
    assert list(rows("Why a message is refused")) == [reason.value for reason in Reject]


def test_every_fate_is_explained() -> None:
    told = rows("What becomes of a reading")
    assert told.keys() == {delivery.value for delivery in Delivery}
    assert [fate for fate, line in told.items() if line.endswith("| yes |")] == ["live"]


def test_every_format_is_explained() -> None:
    assert rows("Formats").keys() == FORMATS.keys()
    assert f"at most {MAX_DEPTH} levels" in PAGE


def test_every_unit_is_listed() -> None:
    for units in UNITS.values():
        for unit in units:
            assert f"`{unit}`" in PAGE
