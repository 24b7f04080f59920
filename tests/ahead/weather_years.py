"""The weather years the season is checked with. None is kept here: they lie in wheels of pvlib.

Greensboro, Sand Point (TMY3) and Miami (TMY2) are in the wheel that is installed; Amsterdam and 45 N 8 E
(EPW) are in the one of 0.11.2, which pip fetches into its own cache; it is opened at run time. The
Amsterdam year is under copyright by its own header, so neither it nor a row of it may be committed.
"""

import hashlib
import subprocess
import sys
import tempfile
import zipfile
from functools import cache
from pathlib import Path

import pvlib

from gillhouse.ahead.weather import Weather
from gillhouse.ahead.weather_files import read

GREENSBORO = "723170TYA.CSV"
SAND_POINT = "703165TY.csv"
MIAMI = "12839.tm2"
AMSTERDAM = "NLD_Amsterdam062400_IWEC.epw"
WHEEL_SHA256 = "d5cbde1e08175d2b91d5181f235bb102a1a81c1b9eb2dcc97bdbfc5f2cd56462"
NORTH_45 = "tmy_45.000_8.000_2005_2023.epw"
CHECKED = (AMSTERDAM, GREENSBORO, NORTH_45)
"""Those the tables speak of."""
ALL = (*CHECKED, SAND_POINT, MIAMI)


@cache
def text(name: str) -> str:
    """A weather file, as it is in its wheel."""
    if name.endswith(".epw"):
        with zipfile.ZipFile(wheel()) as opened:
            return opened.read(f"pvlib/data/{name}").decode("latin-1")
    return (Path(pvlib.__file__).parent / "data" / name).read_text(encoding="latin-1")


@cache
def year(name: str) -> Weather:
    return read(text(name), name)


@cache
def wheel() -> Path:
    """The wheel of pvlib 0.11.2, fetched once a machine."""
    kept = Path(tempfile.gettempdir()) / "gillhouse-tests-pvlib-0.11.2"
    found = list(kept.glob("pvlib-0.11.2-*.whl"))
    if not found:
        command = [
            sys.executable,
            "-m",
            "pip",
            "download",
            "-q",
            "--no-deps",
            "-d",
            str(kept),
            "pvlib==0.11.2",
        ]
        subprocess.run(command, check=True, capture_output=True, timeout=150)
        found = list(kept.glob("pvlib-0.11.2-*.whl"))
    assert hashlib.sha256(found[0].read_bytes()).hexdigest() == WHEEL_SHA256, f"{found[0]} is another file"
    return found[0]
