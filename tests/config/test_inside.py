"""What the config says of the fan while the box is dead, and what `check` says of it.

The minutes are those of `core/test_safe_air`; the wording is the project's own.
"""

import pytest

from gillhouse.commands.check import understood
from gillhouse.config import load_files

FARM = """\
farm: {name: Test farm, zone: UTC}
spaces:
  tent: {name: Tent, kind: tent, walk_in: WALK_IN, volume_m3: 9,
         crop: {species: lions-mane, stage: fruiting, kg: 40}SAFE}
relays:
  tent-fan: {space: tent, role: fan, driver: memory, air_m3_per_h: 90}
"""


def told(walk_in: str, safe: str) -> tuple[list[str], list[str]]:
    """Lines of `check` about a dead box, and its warnings about the same."""
    text = FARM.replace("WALK_IN", walk_in).replace("SAFE", f", safe_air: {safe}" if safe else "")
    config = load_files({"farm.yaml": text})
    lines = [line.strip() for line in understood(config)]
    return (
        [line for line in lines if line.startswith("while this box is dead")],
        [line for line in config.warnings if "safe_air" in line],
    )


def test_missing_where_people_walk_in_is_warned_of_with_the_figure() -> None:
    lines, warnings = told("yes", "")
    assert lines == [] and len(warnings) == 1
    assert "3 min an hour" in warnings[0] and "safe_air: {min_per_h: 3, by: timer" in warnings[0]
    assert told("no", "") == ([], [])


def test_declared_is_shown_beside_what_is_worked_out() -> None:
    lines, warnings = told("yes", "{min_per_h: 5, by: board, tested: 2026-01-15}")
    assert warnings == []
    assert lines == [
        "while this box is dead: fan 5 min an hour by its board's own programme (worked out: 3 min), seen to"
        " run on 2026-01-15"
    ]


@pytest.mark.parametrize(
    ("safe", "words"),
    [
        ("{min_per_h: 1, by: timer, tested: 2026-01-15}", "less than the 3 min"),
        ("{min_per_h: 60, by: timer, tested: 2026-01-15}", "without a pause"),
        ("{min_per_h: 3, by: timer}", "nobody has seen it run"),
    ],
)
def test_worth_a_second_look(safe: str, words: str) -> None:
    _, warnings = told("yes", safe)
    assert len(warnings) == 1 and words in warnings[0]


def test_a_tent_nobody_can_enter_may_say_zero() -> None:
    assert told("no", "{min_per_h: 0, by: timer}") == (
        ["while this box is dead: its fan stands still, nobody can be inside"], []
    )  # fmt: skip
