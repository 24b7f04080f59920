"""Where config files are, and reading them: the grower's, and those that come with the package."""

import os
import stat
from pathlib import Path

from gillhouse.config.mistake import MAX_BYTES, Mistake


def shipped_dir() -> Path:
    """The folder of shipped files: inside the installed package, else `config/` of the checkout.

    Raises:
        FileNotFoundError: neither is there: the installation is broken.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "shipped", package.parents[1] / "config"):
        if (folder / "farm.yaml").is_file():
            return folder
    raise FileNotFoundError(f"no shipped config beside {package}; install gillhouse again")


def read_text(path: Path) -> tuple[str, list[Mistake]]:
    """The text of `path`, or the mistake that keeps it from being read."""
    name = str(path)
    try:
        if path.stat().st_size > MAX_BYTES:
            return "", [Mistake(name, 1, 1, "", f"file is over {MAX_BYTES:,} bytes; is this the right file?")]
        data = path.read_bytes()
    except OSError as error:
        return "", [
            Mistake(
                name, 1, 1, "", f"cannot be read: {error.strerror or error}; correct the name or the rights"
            )
        ]
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        return "", [
            Mistake(
                name, line, column, "", f"byte {data[error.start]:#04x} is not UTF-8; save the file as UTF-8"
            )
        ]


def secret_trouble(path: Path) -> str | None:
    """Why `path` cannot hold a secret, and what to do; None where it can."""
    try:
        status = path.stat()
    except OSError as error:
        return (
            f"{path} cannot be read: {error.strerror or error}; make the file, with the secret on its first"
            " line"
        )
    if not stat.S_ISREG(status.st_mode):
        return f"{path} is no file; name the file that holds the secret"
    if status.st_mode & 0o077:
        return f"{path} can be read by others; run: chmod 600 {path}"
    if not os.access(path, os.R_OK):
        return f"{path} cannot be read by this user; give it to the user that runs gillhouse"
    return None
