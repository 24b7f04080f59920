"""Who did what stands in the log by number, and the number's name in a table beside it (`people`).

So a name can be erased, and the sealed rows (see `chain`) stay as they are. Names become `~3` on their way
into the store and names again on their way out; nothing else of the program knows of it. A number whose name
was erased reads `former-3`.

Here: the two ways of translation, on the canonical JSON texts the columns hold. A quote inside a JSON string
is written with a backslash, so `"who":"` can only be a key.
"""

import json
import re
import sqlite3

NAMED_BY = ("who", "person", "by")
"""Keys of facts, inputs and states whose value is a person's name."""

_NAME = re.compile(rf'"({"|".join(NAMED_BY)})":("(?:[^"\\]|\\.)+")')
_CODE = re.compile(rf'"({"|".join(NAMED_BY)})":"~(\d+)"')
_FORMER = re.compile(r"former-(\d+)")


class Hiding:
    """Names to numbers, for the writer; new names get a number in the caller's transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._codes: dict[str, str] = {
            name: f"~{code}" for code, name in db.execute("SELECT code, name FROM people")
        }

    def code(self, name: str) -> str:
        """The number of a person; an empty name stays empty."""
        if not name:
            return name
        known = self._codes.get(name)
        if known is not None:
            return known
        former = _FORMER.fullmatch(name)
        if former is not None:
            return f"~{former[1]}"
        row = self._db.execute("INSERT INTO people (name) VALUES (?)", (name,))
        self._codes[name] = code = f"~{row.lastrowid}"
        return code

    def hide(self, text: str) -> str:
        """A canonical JSON text with the names in it as numbers."""
        if "who" not in text and "person" not in text and '"by"' not in text:
            return text
        return _NAME.sub(self._hidden, text)

    def _hidden(self, found: re.Match[str]) -> str:
        return f'"{found[1]}":"{self.code(json.loads(found[2]))}"'


class Showing:
    """Numbers to names, for a reader; asks again for a number it has not met."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._names: dict[int, str] = {}

    def name(self, code: str) -> str:
        """The name behind a number; what is no number stands as it is (rows from before there were any)."""
        if not code.startswith("~") or not code[1:].isdigit():
            return code
        number = int(code[1:])
        if number not in self._names:
            row = self._db.execute("SELECT name FROM people WHERE code = ?", (number,)).fetchone()
            if row is None:
                return f"former-{number}"
            self._names[number] = row[0]
        return self._names[number]

    def show(self, text: str) -> str:
        """A canonical JSON text with names where numbers stand."""
        return _CODE.sub(self._shown, text) if '":"~' in text else text

    def _shown(self, found: re.Match[str]) -> str:
        return f'"{found[1]}":{json.dumps(self.name("~" + found[2]))}'
