"""Reading a config in a child process, so that what reading needs (14 MB) leaves with the child.

`python -m gillhouse.config.apart FARM` writes one pickled answer to its output: the `Config`, or the list of
mistakes. Only `ask` reads it, from its own child.
"""

import pickle
import subprocess
import sys
from pathlib import Path

from gillhouse.config.whole import Config
from gillhouse.errors import ConfigError, GillhouseError


def ask(path: Path) -> Config:
    """The config whose farm file is `path`.

    Raises:
        ConfigError: every mistake in every file.
        GillhouseError: the child could not run.
    """
    child = subprocess.run(
        [sys.executable, "-m", "gillhouse.config.apart", str(path)], capture_output=True, check=False
    )
    if child.returncode != 0:
        said = child.stderr.decode("utf-8", "replace").strip().splitlines()
        raise GillhouseError(f"reading {path} failed: {said[-1] if said else 'no word why'}")
    answer = pickle.loads(child.stdout)  # noqa: S301  our own child wrote it
    if isinstance(answer, Config):
        return answer
    raise ConfigError(answer)


def main() -> None:
    from gillhouse.config.loaded import load

    try:
        answer: Config | list[str] = load(Path(sys.argv[1]))
    except ConfigError as error:
        answer = error.mistakes
    sys.stdout.buffer.write(pickle.dumps(answer))


if __name__ == "__main__":
    main()
