"""The reference page tells of every key there is; the models' own key lists are the check's other side."""

import re
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from gillhouse.config import farm_file, guard_file, people_file, species_file, wire_file
from gillhouse.config.draft import MANY, SINGLE

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "config.md").read_text(encoding="utf-8")
MODELS = sorted(
    {
        each
        for module in (farm_file, guard_file, people_file, species_file, wire_file)
        for each in vars(module).values()
        if isinstance(each, type) and issubclass(each, BaseModel) and each.__module__ == module.__name__
    },
    key=lambda model: model.__name__,
)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_is_told_of(model: type[BaseModel]) -> None:
    told = set(re.findall(r"`([a-z_0-9]+)`", PAGE))
    assert set(model.model_fields) <= told


def test_every_section_is_told_of() -> None:
    headings = " ".join(re.findall(r"^## (.*)$", PAGE, re.MULTILINE))
    assert [name for name in SINGLE + MANY if not re.search(rf"\b{name}\b", headings)] == []


def test_stated_role_defaults_are_the_models() -> None:
    """The table of least times, read back from the page and compared with what a relay gets."""
    rows = re.findall(r"^\| `(\w+)` \| (\d+) (s|min) / (\d+) (s|min) \|", PAGE, re.MULTILINE)
    assert {row[0] for row in rows} == set(wire_file.RELAYS)
    for role, on, on_unit, off, off_unit in rows:
        fields = wire_file.RELAYS[role].model_fields
        ms = {"s": 1_000, "min": 60_000}
        assert fields["least_on"].default == int(on) * ms[on_unit]
        assert fields["least_off"].default == int(off) * ms[off_unit]


def test_stated_kinds_are_the_models() -> None:
    for table in (people_file.CHANNELS, wire_file.SENSORS, wire_file.RELAYS):
        assert all(f"`{name}`" in PAGE for name in table)
    for keys in wire_file.WORD_KEYS.values():
        assert f"{{{keys[0]}: ..., {keys[1]}: ...}}" in PAGE
    assert get_args(people_file.MailChannel.model_fields["security"].annotation) == ("starttls", "tls", "off")
