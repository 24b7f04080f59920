"""Opens a store file for its one writer: the directory, the lock, the schema, what was found.

Every way this can fail is worded here, with what to do about it. A reader's connection is not made here.
"""

import fcntl
import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from gillhouse.errors import DamagedStoreError, StoreError
from gillhouse.store.migrate import migrate


class Lock:
    """Held by whoever writes a store; the operating system lets go of it when the process ends."""

    def __init__(self, store: Path) -> None:
        """Takes the lock beside `store`. Raises StoreError when another process (or writer) has it."""
        path = store.with_suffix(".lock")
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise unwritable(store, error) from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(self._file, 20).decode("ascii", "replace").strip() or "unknown"
            os.close(self._file)
            raise StoreError(
                f"{store} is being written by another gillhouse (process {holder}): stop that one first, "
                f"or give this one a directory of its own with --state"
            ) from error
        os.ftruncate(self._file, 0)
        os.pwrite(self._file, f"{os.getpid()}\n".encode("ascii"), 0)

    def release(self) -> None:
        os.close(self._file)


def make_directory(store: Path) -> None:
    """Makes the directory `store` lies in. Raises StoreError when it cannot be."""
    try:
        store.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritable(store, error) from error


def connect(store: Path, wall_ms: int) -> sqlite3.Connection:
    """The writer's connection, with the schema up to date.

    Raises StoreError when the file cannot be written, is damaged, is no store, or is of a newer version.
    """
    try:
        db = sqlite3.connect(store, isolation_level=None, check_same_thread=False, timeout=5.0)
    except sqlite3.Error as error:
        raise unwritable(store, error) from error
    try:
        db.execute("PRAGMA journal_mode = WAL")
        # FULL: a commit that was reported survives a power cut, not only a crash of ours.
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA journal_size_limit = 16777216")
        migrate(db, wall_ms)
    except sqlite3.OperationalError as error:
        db.close()
        raise unwritable(store, error) from error
    except sqlite3.DatabaseError as error:
        db.close()
        raise DamagedStoreError(
            f"{store} is damaged or is not a gillhouse store ({error}): move it aside together with its -wal "
            f"and -shm files and keep all three, then start again; a new store will be begun"
        ) from error
    except StoreError as error:
        db.close()
        raise StoreError(f"{store}: {error}") from error
    return db


def set_aside(store: Path, wall_ms: int) -> Path:
    """Moves a damaged store and what belongs to it out of the way, all files kept. Returns where it lies.

    Raises StoreError when that cannot be done. Nobody may have it open.
    """
    moment = datetime.fromtimestamp(wall_ms / 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
    aside = store.with_name(f"{store.name}.damaged-{moment}")
    number = 1
    while aside.exists():
        number += 1
        aside = store.with_name(f"{store.name}.damaged-{moment}-{number}")
    try:
        for ending in ("-wal", "-shm", ""):  # the store last: until then a start finds it damaged again
            part = store.with_name(store.name + ending)
            if part.exists():
                part.rename(aside.with_name(aside.name + ending))
    except OSError as error:
        raise unwritable(store, error) from error
    return aside


def unwritable(store: Path, error: Exception) -> StoreError:
    why = (isinstance(error, OSError) and error.strerror) or str(error)
    return StoreError(
        f"cannot write the store {store}: {why}. Make {store.parent} a directory that the user running "
        f"gillhouse owns, on a disk with free space, or choose another with --state"
    )
