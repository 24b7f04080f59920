"""Telling a night in a child process: its figures, templates and config reader leave with the child.

`python -m gillhouse.audit.apart JOURNAL NOW_MS ORDER` writes one JSON object to its output: `text` and
`page`, or `trouble`. ORDER is JSON: `what` (the night that is over, or whether the one that begins is a slug
night), `forecast` (a file's name or null) and `caps`. A forecast that cannot be used stops nothing: it is
told beside, in `forecast_trouble`. Only a `Telling` reads it, from its own child. This side of it imports
nothing of the audit, and whatever the child does (fail, hang, be killed for want of memory) is a
`GillhouseError` here.
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gillhouse.errors import GillhouseError

if TYPE_CHECKING:
    from gillhouse.ahead.weather import WeatherHour
    from gillhouse.config import Config
    from gillhouse.store.reader import Reader

NICENESS = 10
"""The child works only when nobody else wants to: relays come first."""
FIRST_TO_GO = "800"
"""Where memory runs out the system ends the child, not the daemon. Source: proc(5), oom_score_adj."""


class What(StrEnum):
    NIGHT = "night"
    """The last one."""
    DUSK = "dusk"
    """Whether the one that begins is a slug night."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be told, and with what beside the journal."""

    what: What = What.NIGHT
    forecast: str | None = None
    """The file the farm file names."""
    caps: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """Of each open space the running daemon's account of the caps."""

    def plain(self) -> str:
        """As JSON."""
        return json.dumps({"what": self.what, "forecast": self.forecast, "caps": self.caps})


THE_NIGHT = Order()


@dataclass(frozen=True, slots=True)
class Told:
    """The last night, or the call of the coming one."""

    text: str
    """Empty: there is nothing to call."""
    page: str
    """HTML, one self-contained file; empty of a call."""
    forecast_trouble: str = ""
    """Why the forecast could not be used."""


class Telling:
    """A child at work. `end` may be called from any thread."""

    def __init__(self, journal: Path, now_ms: int, order: Order = THE_NIGHT) -> None:
        """Starts the child.

        Args:
            now_ms: wall time; the night that was over by then is told, or the one that begins then.
        Raises:
            GillhouseError: no child could be started.
        """
        try:
            self._child = subprocess.Popen(
                [sys.executable, "-m", "gillhouse.audit.apart", str(journal), str(now_ms), order.plain()],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            )  # fmt: skip
        except OSError as error:
            raise GillhouseError(f"no process to make it in: {error.strerror}") from error

    def end(self) -> None:
        """Has the child end now, if it is still at work."""
        self._child.kill()

    def wait(self, limit_s: float) -> Told:
        """What the child tells.

        Args:
            limit_s: seconds, on the machine's clock; a child not done by then is ended.
        Raises:
            GillhouseError: it took too long, failed, or has nothing to tell.
        """
        try:
            said, complaint = self._child.communicate(timeout=limit_s)
        except subprocess.TimeoutExpired as error:
            self._child.kill()
            self._child.communicate()
            raise GillhouseError(f"it was not done after {limit_s:g} s") from error
        try:
            answer = json.loads(said)
            if "trouble" not in answer:
                return Told(answer["text"], answer["page"], answer["forecast_trouble"])
            trouble = answer["trouble"]
        except (ValueError, KeyError, TypeError):
            words = complaint.decode("utf-8", "replace").strip().splitlines()
            trouble = words[-1] if words else f"its process ended with {self._child.returncode}"
        raise GillhouseError(trouble)


def _tell(journal: Path, now_ms: int, order: Mapping[str, Any]) -> dict[str, str]:
    from gillhouse.audit.evidence import config_at
    from gillhouse.store.reader import Reader

    try:
        with Reader(journal) as reader:
            config = config_at(reader, max(now_ms, reader.newest_ms() or 0))
            hours, trouble = _forecast(order["forecast"], now_ms, config)
            if order["what"] == What.DUSK:
                told = {"text": _dusk(reader, config, now_ms, hours), "page": ""}
            else:
                told = _night(reader, now_ms, hours, order["caps"])
    except GillhouseError as error:
        return {"trouble": str(error)}
    return {**told, "forecast_trouble": trouble}


def _forecast(name: str | None, now_ms: int, config: "Config") -> tuple[list["WeatherHour"], str]:
    """The hours to come, and why there are none."""
    from gillhouse.audit.weather_file import standing_forecast

    if name is None:
        return [], ""
    try:
        return standing_forecast(Path(name), now_ms, config.farm.zone), ""
    except GillhouseError as error:
        return [], str(error)


def _dusk(reader: "Reader", config: "Config", now_ms: int, hours: list["WeatherHour"]) -> str:
    from gillhouse.ahead.dusk import slug_call
    from gillhouse.audit.ahead_log import called_tonight

    called = called_tonight(reader, config, now_ms, hours)
    return slug_call(called) if called else ""


def _night(
    reader: "Reader", now_ms: int, hours: list["WeatherHour"], caps: Mapping[str, Mapping[str, Any]]
) -> dict[str, str]:
    from gillhouse.audit.ahead_log import Outlook
    from gillhouse.audit.html import as_html
    from gillhouse.audit.report import last_window, night_of
    from gillhouse.audit.text import as_text
    from gillhouse.audit.wording import seal_line

    night = night_of(reader, last_window(reader, now_ms), now_ms, outlook=Outlook(hours, caps))
    return {"text": as_text(night) + seal_line(reader.head()), "page": as_html(night)}


def main() -> None:
    os.nice(NICENESS)
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO, encoding="ascii")
    sys.stdout.write(json.dumps(_tell(Path(sys.argv[1]), int(sys.argv[2]), json.loads(sys.argv[3]))))


if __name__ == "__main__":
    main()
