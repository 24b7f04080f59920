"""Personal data in the store: who is known, and taking one person out for good.

The log names people by number, and `people` says who that is (see `names`). Erasing takes the name out of
that table, out of rows older than the chain, kept states, messages and stored configs; sealed rows stay byte
for byte, so the chain holds, and a mark in it says that a name was erased (by its number alone). What people
wrote in the words of a note is sealed and stays.

No daemon may run: this takes the store's lock.
"""

import json
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from gillhouse.errors import StoreError
from gillhouse.store.chain import ERASED, Chain
from gillhouse.store.codec import canonical
from gillhouse.store.names import NAMED_BY, Hiding
from gillhouse.store.opening import Lock, connect

GONE = "(erased)"

_STATES = ("segments", "meta")
"""Kept states: a person's id may be a key or an entry of a list there, wherever it stands."""

_TEXTS = {
    # where names stood before they became numbers: key, column, which rows may be changed
    "events": ("id", "facts", "place IS NULL"),
    "commands": ("id", "facts", "place IS NULL"),
    "alarms": ("id", "facts", "place IS NULL"),
    "inputs": ("seq", "body", "place IS NULL"),
    "segments": ("id", "snapshot", "1"),
    "meta": ("key", "value", "1"),
}


@dataclass(frozen=True, slots=True)
class Known:
    """Somebody the log names."""

    number: int
    name: str
    deeds: int
    """Rows of the log that name them."""


@dataclass(frozen=True, slots=True)
class Erased:
    """What was done."""

    number: int
    rows: int
    """Rows older than the chain, and kept states, that named the person."""
    messages: int
    """Messages taken out or emptied."""
    configs: int
    notes: int
    """Sealed rows with the name in their words, which stay."""


def known_people(db: sqlite3.Connection) -> tuple[Known, ...]:
    """Everybody the log has a number for, by number. Reads the whole log once a person."""
    return tuple(
        Known(number, name, sum(db.execute(sql, (f'%":"~{number}"%',)).fetchone()[0] for sql in _NAMING)
              + db.execute("SELECT count(*) FROM alarms WHERE who = ?", (f"~{number}",)).fetchone()[0])
        for number, name in db.execute("SELECT code, name FROM people ORDER BY code").fetchall()
    )  # fmt: skip


_NAMING = (
    "SELECT count(*) FROM events WHERE facts LIKE ?",
    "SELECT count(*) FROM commands WHERE facts LIKE ?",
    "SELECT count(*) FROM inputs WHERE body LIKE ?",
)


def erase(store: Path, name: str, elsewhere: Mapping[str, str], wall_ms: int) -> Erased:
    """Takes `name` out of the store.

    Args:
        elsewhere: further texts of the person (full name, addresses, number, logins) to what shall stand in
            their place, in stored configs; `{n}` in it becomes the person's number in the log.
        wall_ms: the moment, for the mark.
    Raises:
        StoreError: a daemon runs, nobody has that name, or the store cannot be written.
    """
    lock = Lock(store)
    try:
        db = connect(store, wall_ms)
        try:
            db.execute("PRAGMA secure_delete = ON")  # what is taken out is overwritten, not only unlinked
            db.execute("BEGIN IMMEDIATE")
            erased = _Erasing(db, name).run(elsewhere, wall_ms)
            db.execute("COMMIT")
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            db.close()
    except sqlite3.Error as error:
        raise StoreError(f"{store} could not be changed, and was not: {error}") from error
    finally:
        lock.release()
    return erased


class _Erasing:
    """One person being taken out, within a transaction of the caller's."""

    def __init__(self, db: sqlite3.Connection, name: str) -> None:
        self._db = db
        self._name = name

    def run(self, elsewhere: Mapping[str, str], wall_ms: int) -> Erased:
        db = self._db
        chain = Chain(db)
        chain.begin(wall_ms)
        if not self._is_known() and not elsewhere:
            raise StoreError(f"nobody is called {self._name!r} here: `gillhouse personal` lists who there is")
        code = Hiding(db).code(self._name)
        rows = 0
        aliases = [self._name, *(one for one in elsewhere if one != self._name)]
        for alias in aliases:  # whatever they were called by: id, full name, log-in
            rows += sum(self._texts(table, alias, code) for table in _TEXTS)
            rows += db.execute(
                "UPDATE alarms SET who = ? WHERE who = ? AND place IS NULL", (code, alias)
            ).rowcount
        messages = self._messages(set(aliases))
        configs = self._configs(elsewhere, code)
        notes = sum(db.execute(sql, (self._name,)).fetchone()[0] for sql in _WRITTEN)
        for alias in aliases:
            db.execute("DELETE FROM people WHERE name = ?", (alias,))
        chain.mark(wall_ms, ERASED, {"number": int(code[1:]), "configs": configs})
        return Erased(int(code[1:]), rows, messages, len(configs), notes)

    def _is_known(self) -> bool:
        db, named = self._db, self._name
        if db.execute("SELECT 1 FROM people WHERE name = ?", (named,)).fetchone():
            return True
        if db.execute("SELECT 1 FROM alarms WHERE who = ?", (named,)).fetchone():
            return True
        wanted = [f'"{key}":{canonical(named)}' for key in NAMED_BY]
        return any(
            db.execute(
                f"SELECT 1 FROM {table} WHERE {may} AND instr({column}, ?) LIMIT 1",  # noqa: S608
                (one,),
            ).fetchone()
            for table, (_, column, may) in _TEXTS.items()
            for one in wanted
        )

    def _texts(self, table: str, alias: str, code: str) -> int:
        """Rows of a table that named the person so; they have a number there now."""
        key, column, may = _TEXTS[table]
        quoted = canonical(alias)
        found = self._db.execute(
            f"SELECT {key}, {column} FROM {table} WHERE {may} AND instr({column}, ?)",  # noqa: S608
            (quoted,),
        ).fetchall()
        changed = 0
        for ident, text in found:
            other = text
            for word in NAMED_BY:
                other = other.replace(f'"{word}":{quoted}', f'"{word}":"{code}"')
            if table in _STATES:
                other = other.replace(quoted, f'"former-{code[1:]}"')
            if other != text:
                changed += 1
                self._db.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (other, ident))  # noqa: S608
        return changed

    def _messages(self, texts: set[str]) -> int:
        """Takes out messages to the person, and empties those others got that name them or carry a report.

        One to somebody else that has not gone out yet stays: it may be an alarm.
        """
        changed = 0
        for ident, subject, text, more, sent in self._db.execute(
            "SELECT id, subject, text, attachments, sent FROM outbox"
        ).fetchall():
            rest = json.loads(more or "{}")
            files = "".join(str(one) for one in rest.get("files", []))
            if rest.get("person") in texts:
                self._db.execute("DELETE FROM outbox WHERE id = ?", (ident,))
            elif sent is not None and (files or any(one in subject or one in text for one in texts)):
                self._db.execute(
                    "UPDATE outbox SET subject = ?, text = ?, attachments = ? WHERE id = ?",
                    (GONE, GONE, json.dumps({**rest, "files": []}), ident),
                )
            else:
                continue
            changed += 1
        return changed

    def _configs(self, elsewhere: Mapping[str, str], code: str) -> list[str]:
        """Replaces the person's texts in stored configs; returns the digests of those."""
        changed = []
        for digest, files in self._db.execute("SELECT digest, files FROM configs").fetchall():
            plain = json.loads(files)
            for name, text in plain.items():
                for old, new in sorted(elsewhere.items(), key=lambda pair: -len(pair[0])):
                    whole = rf"(?<![\w@.+-]){re.escape(old)}(?![\w@-])"
                    text = re.sub(whole, new.format(n=code[1:]), text)
                plain[name] = text
            other = canonical(plain)
            if other != files:
                changed.append(digest)
                self._db.execute("UPDATE configs SET files = ? WHERE digest = ?", (other, digest))
        return changed


_WRITTEN = (
    "SELECT count(*) FROM events WHERE instr(facts, ?)",
    "SELECT count(*) FROM inputs WHERE place IS NOT NULL AND instr(body, ?)",
)
