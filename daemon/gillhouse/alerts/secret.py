"""Reads a secret at the moment it is needed, from a file only its owner may read. It is kept nowhere."""

from pathlib import Path

from gillhouse.config.places import secret_trouble
from gillhouse.errors import ChannelError


def read_secret(path: str, channel: str) -> str:
    """The first line of the file.

    Raises:
        ChannelError: it cannot be read, others can read it, or its first line is empty.
    """
    trouble = secret_trouble(Path(path))
    if trouble is not None:
        raise ChannelError(f"channel {channel}: {trouble}")
    try:
        first = Path(path).read_text(encoding="utf-8").partition("\n")[0].strip()
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise ChannelError(f"channel {channel}: {path}: {why}; save the secret there") from None
    if not first:
        raise ChannelError(f"channel {channel}: the first line of {path} is empty; write the secret there")
    return first
