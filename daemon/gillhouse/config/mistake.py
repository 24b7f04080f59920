"""One mistake in a config file. Apart from `tree`, so that whoever only names a file needs no YAML reader."""

from dataclasses import dataclass

MAX_BYTES = 1_000_000
"""A config file is a few hundred lines; more is another file."""


@dataclass(frozen=True, slots=True, order=True)
class Mistake:
    """One thing to mend. Sorts by place."""

    file: str
    line: int
    column: int
    key: str
    text: str

    def __str__(self) -> str:
        key = f"{self.key}: " if self.key else ""
        return f"{self.file}:{self.line}:{self.column}: {key}{self.text}"
