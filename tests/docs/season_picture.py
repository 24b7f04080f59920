"""The picture of docs/how-to/plan-a-year.md: Greensboro's typical year (TMY3, a US government data set),
shaded.

`python -m tests.docs.season_picture` from the checkout's top writes it; `test_season_page` holds it to
today's rules.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # as pytest has it

from ahead.weather_years import GREENSBORO, year
from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.season import crop_of, plan
from gillhouse.commands.season_told import chart
from gillhouse.config import load, shipped_dir
from gillhouse.drawing.calendar import draw

PICTURE = Path(__file__).parents[2] / "docs" / "pictures" / "season.svg"


def picture() -> str:
    """What `gillhouse season --svg` leaves of that year for all species that ship."""
    crops = [crop for one in load(shipped_dir() / "farm.yaml").species.values() if (crop := crop_of(one))]
    return draw(chart(plan(year(GREENSBORO), crops, Cover.SHADED))) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
