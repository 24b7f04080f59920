"""Half a file is no smaller farm. Worked by hand; the drill cuts a real one at every byte."""

import pytest

from gillhouse.config.torn import refuse_torn
from gillhouse.errors import ConfigError

WHOLE = "farm: {name: A}\nspaces: {}\n"


def test_a_beginning_is_refused_with_its_line_and_what_to_do() -> None:
    with pytest.raises(
        ConfigError, match=r"^farm\.yaml:2:1: ends here, after the first 16 of the 27 "
    ) as refusal:
        refuse_torn({"farm.yaml": WHOLE[:16]}, {"farm.yaml": WHOLE})
    assert "change another line as well" in str(refusal.value)


@pytest.mark.parametrize(
    "text",
    [WHOLE, WHOLE.rstrip(), WHOLE + "# more\n", "farm: {name: B}\n", "# the end went\nfarm: {name: A}\n"],
)
def test_anything_else_is_a_persons_change(text: str) -> None:
    refuse_torn({"farm.yaml": text}, {"farm.yaml": WHOLE})


def test_first_starts_and_files_of_the_program_are_left_alone() -> None:
    refuse_torn({"farm.yaml": WHOLE[:4]}, {})
    refuse_torn({"shipped/species/a.yaml": "x"}, {"shipped/species/a.yaml": "xy"})
