"""Telling a night in a child process: its figures, templates and config reader leave with the child.

`python -m gillhouse.audit.apart JOURNAL NOW_MS` writes one JSON object to its output: `text` and `page`, or
`trouble`. Only a `Telling` reads it, from its own child. This side of it imports nothing of the audit, and
whatever the child does (fail, hang, be killed for want of memory) is a `GillhouseError` here.
"""

import json
import os
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from gillhouse.errors import GillhouseError

NICENESS = 10
"""The child works only when nobody else wants to: relays come first."""
FIRST_TO_GO = "800"
"""Where memory runs out the system ends the child, not the daemon. Source: proc(5), oom_score_adj."""


@dataclass(frozen=True, slots=True)
class Told:
    """The last night."""

    text: str
    page: str
    """HTML, one self-contained file."""


class Telling:
    """A child at work. `end` may be called from any thread."""

    def __init__(self, journal: Path, now_ms: int) -> None:
        """Starts the child.

        Args:
            now_ms: wall time; the night that was over by then is told.
        Raises:
            GillhouseError: no child could be started.
        """
        try:
            self._child = subprocess.Popen(
                [sys.executable, "-m", "gillhouse.audit.apart", str(journal), str(now_ms)],
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
                return Told(answer["text"], answer["page"])
            trouble = answer["trouble"]
        except (ValueError, KeyError, TypeError):
            words = complaint.decode("utf-8", "replace").strip().splitlines()
            trouble = words[-1] if words else f"its process ended with {self._child.returncode}"
        raise GillhouseError(trouble)


def _tell(journal: Path, now_ms: int) -> dict[str, str]:
    from gillhouse.audit.html import as_html
    from gillhouse.audit.report import last_window, night_of
    from gillhouse.audit.text import as_text
    from gillhouse.audit.wording import seal_line
    from gillhouse.store.reader import Reader

    try:
        with Reader(journal) as reader:
            night = night_of(reader, last_window(reader, now_ms), now_ms)
            seal = seal_line(reader.head())
    except GillhouseError as error:
        return {"trouble": str(error)}
    return {"text": as_text(night) + seal, "page": as_html(night)}


def main() -> None:
    os.nice(NICENESS)
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(FIRST_TO_GO, encoding="ascii")
    sys.stdout.write(json.dumps(_tell(Path(sys.argv[1]), int(sys.argv[2]))))


if __name__ == "__main__":
    main()
