"""Rows of the tables beside these tests: figures from outside, each naming its source.

`pests_development.csv` holds published days; `pests_thermal.csv` published and refitted lines. The other
tables were worked out from those, apart from this program, with a plain script; min and max pairs in
`pests_degree_day_cases.csv` are invented, `pests_degree_day_run.csv` is of April in Greensboro, North
Carolina: its TMY3 year (a US government data set, in pvlib's wheel as 723170TYA.CSV).
"""

import csv
from pathlib import Path

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
