"""The quick form of every drill.

What each must hold is in the drill; it raises where that is not so.
"""

from pathlib import Path

import pytest
from tests.drills.drill import Size
from tests.drills.table import DRILLS

STRUCK = pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
"""A thread that is killed on purpose ends with an exception nobody catches."""


MARKS = {"network": STRUCK, "payloads": pytest.mark.soak, "week": pytest.mark.soak}
"""tests/payloads has a million payloads already, and a week takes its minutes: `pytest -m soak` runs both."""


@pytest.mark.parametrize("name", [pytest.param(name, marks=MARKS.get(name, ())) for name in DRILLS])
def test_it_survives(name: str, tmp_path: Path) -> None:
    shares: list[float] = []
    lines = DRILLS[name].run(Size.QUICK, tmp_path, shares.append)
    assert lines
    assert shares == sorted(shares) and all(0 <= share <= 1 for share in shares)
