"""The page of the full form: every drill is on it, in order, and what must be nought is."""

from tests.drills import page
from tests.drills.table import DRILLS


def test_the_page_tells_of_every_drill_and_nothing_fell_short() -> None:
    kept = page.kept()
    assert list(kept) == list(DRILLS), "print it anew: python -m tests.drills --write"
    for name, text in kept.items():
        rows = [
            [cell.strip() for cell in line.strip("|").split("|")]
            for line in text.splitlines()
            if "**" in line
        ]
        assert rows, name
        for what, figure, must in rows:
            if must == "0":
                assert figure.strip("*").split()[0] == "0", f"{name}: {what}: {figure}"
