"""The page on the pure interface: its loop is run as it stands there; it names what goes in and comes out."""

import re
from dataclasses import fields
from pathlib import Path
from typing import Any, get_args

import pytest

from gillhouse.core.inputs import Input
from gillhouse.core.outputs import Outcome
from gillhouse.core.reasons import Reason

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "drive-it-yourself.md"
BLOCK = re.compile(r"^```python\n(.*?)^```$", re.M | re.S)


@pytest.fixture(scope="module")
def ran() -> dict[str, Any]:
    (code,) = BLOCK.findall(PAGE.read_text(encoding="utf-8"))
    names: dict[str, Any] = {}
    exec(compile(code, str(PAGE), "exec"), names)
    return names


def test_the_loop_holds_its_tent(ran: dict[str, Any]) -> None:
    """Left alone it would dry to 60 %; the species file's band for lion's mane begins at 85 % or over."""
    assert 85.0 <= ran["humidity"] <= 95.0


def test_the_loop_hears_commands_with_their_ends_and_reasons(ran: dict[str, Any]) -> None:
    mist = [line for line in ran["said"] if line[1] == "tent-mist"]
    on = [line for line in mist if line[2]]
    assert len(on) > 5
    assert all(isinstance(line[3], Reason) for line in mist)
    assert {"value", "aim"} <= set(on[0][4])
    assert ran["inputs"] >= 240
    assert ran["farm"].next_deadline_ms() is not None


def test_the_loop_hears_alarms(ran: dict[str, Any]) -> None:
    """It gives one sensor of many: the others are silent, and somebody is told."""
    alarms = {line[1] for line in ran["said"] if len(line) == 3}
    assert "sensor-silent:tent-temp" in alarms


def test_the_page_names_what_goes_in_and_comes_out() -> None:
    text = PAGE.read_text(encoding="utf-8")
    kinds = {kind.__name__ for kind in get_args(Input)}
    named = set(re.findall(r"^\| `(\w+)` \|", text, re.M))
    assert {"Started", "Reading", "Due", "RelayReport", "OperatorAction", "LinkChange"} <= named
    assert named <= kinds, "the page names inputs there are not"
    assert [field.name for field in fields(Outcome) if f"`{field.name}`" not in text] == []
