"""A file that is only the beginning of the one in force: torn off, by a power cut or a full card.

Such a file can read well and say too little, so that relays and sensors would be gone without a word. Whoever
means to take the end away changes something else as well. Reads no file.
"""

from collections.abc import Mapping

from gillhouse.errors import ConfigError

SHIPPED = "shipped/"
"""Files of this begin with; they come with the program and are whole."""


def refuse_torn(files: Mapping[str, str], in_force: Mapping[str, str]) -> None:
    """Compares newly read files with those in force.

    Args:
        files: name -> text, as in `Config.files`.
        in_force: the same of the config that runs, or ran last; empty: none did.
    Raises:
        ConfigError: one of them is only the beginning of what it was.
    """
    mistakes = [
        f"{name}:{text.count(chr(10)) + 1}:1: ends here, after the first {len(text)} of the "
        f"{len(in_force[name])} characters of the file in force: it looks torn off. Put the whole file back; "
        f"or, if you mean to take the end away, change another line as well (a comment will do)"
        for name, text in files.items()
        if not name.startswith(SHIPPED) and _torn(text, in_force.get(name, ""))
    ]
    if mistakes:
        raise ConfigError(mistakes)


def _torn(text: str, whole: str) -> bool:
    return len(text) < len(whole) and whole.startswith(text) and bool(whole[len(text) :].strip())
