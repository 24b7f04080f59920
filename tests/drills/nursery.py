"""Forks daemons: one for each line on its input, says its process id, and how it ended.

`python -m tests.drills.nursery CONFIG STATE`. This process loads the program and the config once and starts
no thread; the child is `gillhouse run` from there on.
"""

import logging
import os
import sys
from pathlib import Path

from gillhouse.clock import SystemClock
from gillhouse.commands.run import _live
from gillhouse.config import Config, load
from gillhouse.service import Service


def live(config: Config, path: Path, state: Path) -> None:
    """The child: does what `gillhouse run` does, then ends without a word to the parent's things."""
    code = 1
    try:
        os.close(0)
        logging.basicConfig(level=logging.WARNING, format="%(message)s")
        code = _live(Service(config, state, SystemClock()), path)
    finally:
        sys.stderr.flush()
        os._exit(code)


def main() -> None:
    path, state = Path(sys.argv[1]), Path(sys.argv[2])
    config = load(path)
    for _ in sys.stdin:
        pid = os.fork()
        if pid == 0:
            live(config, path, state)
        print(pid, flush=True)
        _, status = os.waitpid(pid, 0)
        print("ended", os.waitstatus_to_exitcode(status), flush=True)


if __name__ == "__main__":
    main()
