"""One line of the log is one line, whatever is in it: nobody who is heard may draw on it.

Control characters, line breaks of every kind and marks that turn text around are written as escapes, such as
`\\n` or `\\x1b`. Which characters: Unicode's categories Cc, Cf, Cs, Zl, Zp (UAX 44). That they must not
reach a log raw: OWASP ASVS 5.0, 16.4.1.
"""

import logging
import sys
import unicodedata

PRIORITIES = {logging.CRITICAL: "<2>", logging.ERROR: "<3>", logging.WARNING: "<4>", logging.INFO: "<6>"}
"""What the system's log reads before a line. Source: sd-daemon(3)."""

_RAW = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def one_line(text: str) -> str:
    """`text` with everything that is not plainly visible written as an escape."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        char.encode("unicode_escape").decode("ascii") if unicodedata.category(char) in _RAW else char
        for char in text
    )


class LogLines(logging.Formatter):
    """A record as one line; a traceback as one line for each of its own, indented under it."""

    def format(self, record: logging.LogRecord) -> str:
        lines = [one_line(record.getMessage())]
        if record.exc_info:
            lines += [f"    {one_line(line)}" for line in self.formatException(record.exc_info).split("\n")]
        prefix = "" if sys.stderr.isatty() else PRIORITIES.get(record.levelno, "<7>")
        return "\n".join(prefix + line for line in lines)
