"""Where config files are, and reading them: the grower's, and those that come with the package."""

import os
import pwd
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


CREDENTIAL = "credential:"
"""A secret's file written `credential:NAME` is the credential NAME the service manager hands us."""

_NOT_HANDED_OUT = Path("/run/credentials/only-for-the-service")


def secret_path(folder: Path, name: str) -> Path:
    """Where a secret stands: `name` inside `folder`, as it is where absolute, or the credential it names.

    Source: systemd.exec(5), CREDENTIALS_DIRECTORY.
    """
    if not name.startswith(CREDENTIAL):
        return folder / name
    handed_out = os.environ.get("CREDENTIALS_DIRECTORY")
    return (Path(handed_out) if handed_out else _NOT_HANDED_OUT) / name.removeprefix(CREDENTIAL)


def secret_trouble(path: Path) -> str | None:
    """Why `path` cannot hold a secret, and what to do; None where it can."""
    if path.parent == _NOT_HANDED_OUT:
        return (
            f"the credential {path.name} is handed out by systemd to the service alone; try it there, or name"
            " a file"
        )
    credential = str(path.parent) == os.environ.get("CREDENTIALS_DIRECTORY")
    try:
        status = path.stat()
    except OSError as error:
        return (
            f"{path} cannot be read: {error.strerror or error}; make the file, with the secret on its first"
            " line"
        )
    if not stat.S_ISREG(status.st_mode):
        return f"{path} is no file; name the file that holds the secret"
    # systemd gives a credential of root's to its service by an access list, and then the group bits show
    # the list's mask: nobody of the group gets in, the directory is closed to all but the service.
    masked = 0o007 if credential and status.st_uid == 0 else 0o077
    if status.st_mode & masked:
        return f"{path} can be read by others; run: chmod 600 {path}"
    if not credential and os.geteuid() not in (0, status.st_uid):
        return f"{path} belongs to another user; run: chown {_user()} {path}"
    if not os.access(path, os.R_OK):
        return f"{path} cannot be read by this user; give it to the user that runs gillhouse"
    return None


def _user() -> str:
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return str(os.geteuid())
