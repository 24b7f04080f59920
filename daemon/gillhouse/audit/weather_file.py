"""Opening the grower's weather and forecast files.

Here: from a path to hours, with every mistake in words. Not here: the formats (`ahead.weather_files`), what
follows from the hours.
"""

from datetime import datetime, tzinfo
from pathlib import Path

from gillhouse.ahead.weather import Weather, WeatherError, WeatherHour
from gillhouse.ahead.weather_files import read
from gillhouse.audit.ahead_log import from_now

BIGGEST_BYTES = 20_000_000
"""Ten times a year's EPW; what is bigger is no weather file."""
STALE_MS = 7 * 24 * 3_600_000
"""A forecast file nobody wrote anew for so long is an old one: its rows are read without their year."""


def weather_from(path: Path) -> Weather:
    """A weather file read.

    Raises:
        WeatherError: it is not there, too big, or cannot be read; the message says what to do.
    """
    try:
        if path.stat().st_size > BIGGEST_BYTES:
            raise WeatherError(
                f"{path}: over {BIGGEST_BYTES // 1_000_000} MB; a year of weather has two or three"
            )
        # Old files carry place names in the code page of their time; the figures are ASCII in all of them.
        return read(path.read_bytes().decode("latin-1").removeprefix("\xef\xbb\xbf"), path.name)
    except OSError as error:
        raise WeatherError(f"{path}: cannot be opened ({error.strerror}); check the name") from error


def standing_forecast(path: Path, now_ms: int, zone: tzinfo) -> list[WeatherHour]:
    """The hours to come of the forecast the farm file names.

    Raises:
        WeatherError: as `weather_from`; or it is an old one.
    """
    found = weather_from(path)
    try:
        written_ms = path.stat().st_mtime * 1000
    except OSError as error:
        raise WeatherError(f"{path}: cannot be opened ({error.strerror}); check the name") from error
    if now_ms - written_ms > STALE_MS:
        raise WeatherError(f"{path.name}: not written anew for over a week; fetch a new one")
    return from_now(found, path.name, datetime.fromtimestamp(now_ms / 1000, zone))
