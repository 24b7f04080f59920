"""Copies of a store: made while it is written, verified, kept to a number, and put back.

A copy is one closed file, `journal-20261014T024000Z.db`, with its SHA-256 beside it as sha256sum(1) has
it. It is made by SQLite's online backup in one step: the writer goes on meanwhile. It gets its name only once
it is whole on the disk and was found sound. Not here: reading a night from it (`commands`), when one is due.
Source: SQLite's pages "Using the SQLite Online Backup API" and "How To Corrupt An SQLite Database File"
(copying a live file, or parting it from its -wal, gives a damaged one).
"""

import hashlib
import os
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from gillhouse.errors import StoreError
from gillhouse.store.migrate import applied
from gillhouse.store.opening import Lock
from gillhouse.store.schema import MIGRATIONS

SPARE_BYTES = 50_000_000
"""Left free on the disk at least, beside the copy itself. Our own choice."""
STAMP = "%Y%m%dT%H%M%SZ"
FAULTS_NAMED = 3


def copies_in(folder: Path) -> list[Path]:
    """The copies in a folder, newest first."""
    return sorted(folder.glob("journal-*.db"), reverse=True)


def make_copy(store: Path, folder: Path, wall_ms: int) -> Path:
    """A verified copy of `store` in `folder`, however busy its writer is.

    Raises:
        StoreError: there is no store, no room, the copy cannot be written or is not sound. No copy with a
            proper name is left then, and those made before stay.
    """
    if not store.exists():
        raise StoreError(f"there is no store at {store}: start the daemon once, or name another --state")
    _make(folder)
    room_for(size_of(store), folder)
    name = f"journal-{datetime.fromtimestamp(wall_ms / 1000, UTC):{STAMP}}.db"
    part = folder / f"{name}.part"
    for old in folder.glob("journal-*.db.part*"):  # of a copy that was cut off
        old.unlink()
    try:
        _copy(store, part)
        sound(part)
        _sync(part)
        digest = digest_of(part)
        beside = folder / f"{name}.sha256"
        beside.write_text(f"{digest}  {name}\n", encoding="ascii")
        _sync(beside)
        part.rename(folder / name)
        _sync(folder)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(
            f"the copy of {store} in {folder} failed ({error}): is the disk full, or was it taken out? The "
            "copies made before are untouched"
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return folder / name


def thin_out(folder: Path, keep: int) -> list[Path]:
    """Deletes all but the newest `keep` copies. Returns what is gone.

    The newest copy of every other journal stays too: where one was damaged and another begun, or an old copy
    put back, what came before lies nowhere else.
    """
    copies = copies_in(folder)
    held: set[int | None] = {None, *(_first_ms(copy) for copy in copies[: max(1, keep)])}
    gone = []
    for copy in copies[max(1, keep) :]:
        first_ms = _first_ms(copy)
        if first_ms in held:
            gone.append(copy)
        held.add(first_ms)
    for copy in gone:
        copy.unlink()
        copy.with_name(f"{copy.name}.sha256").unlink(missing_ok=True)
    return gone


def _first_ms(copy: Path) -> int | None:
    """When a copy's journal was begun, which tells journals apart; None where it cannot be read."""
    try:
        with closing(_read_only(copy)) as db:
            row = db.execute("SELECT wall_ms FROM segments ORDER BY id LIMIT 1").fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else int(row[0])


def sound(copy: Path) -> None:
    """Looks through every page and index of a copy.

    Raises:
        StoreError: it is damaged, or is no store.
    """
    try:
        with closing(_read_only(copy)) as db:
            faults = [str(row[0]) for row in db.execute("PRAGMA integrity_check")]
            steps = applied(db)
    except sqlite3.Error as error:
        raise StoreError(f"{copy} cannot be read ({error}): use another copy") from error
    if faults != ["ok"]:
        named = "; ".join(faults[:FAULTS_NAMED])
        raise StoreError(f"{copy} is damaged ({named}): use another copy")
    if not steps:
        raise StoreError(f"{copy} is no gillhouse store: name a file that `gillhouse backup` made")


def known_schema(store: Path) -> list[str]:
    """The schema steps this version would add to a store; it must know all that are there.

    Raises:
        StoreError: the store is of a newer version, or cannot be read.
    """
    try:
        with closing(_read_only(store)) as db:
            done = applied(db)
    except sqlite3.Error as error:
        raise StoreError(f"{store} cannot be read: {error}") from error
    names = [name for name, _ in MIGRATIONS]
    if done != names[: len(done)]:
        strange = ", ".join(name for name in done if name not in names) or "another order"
        raise StoreError(
            f"{store} is of a newer gillhouse (schema steps {strange}): use that version, or an older copy"
        )
    return names[len(done) :]


def as_made(copy: Path) -> None:
    """Compares a copy with the SHA-256 noted when it was made, where one lies beside it.

    Raises:
        StoreError: it is not the file that was made.
    """
    beside = copy.with_name(f"{copy.name}.sha256")
    try:
        noted = beside.read_text(encoding="ascii").split()[0] if beside.exists() else None
        found = digest_of(copy)
    except (OSError, UnicodeDecodeError, IndexError) as error:
        raise StoreError(f"{copy} or its .sha256 cannot be read: {error}") from error
    if noted is not None and noted != found:
        raise StoreError(f"{copy} is not as it was made (SHA-256 {found[:12]}..., noted {noted[:12]}...)")


def put_back(copy: Path, store: Path, wall_ms: int) -> Path | None:
    """Puts a copy in the place of a store. Returns the folder where what was there is kept, if any was.

    Raises:
        StoreError: a daemon is running on it, the copy is not sound or of a newer version, or no room.
    """
    if not copy.is_file():
        raise StoreError(f"there is no copy {copy}: `gillhouse backup` says where it puts them")
    _make(store.parent)
    lock = Lock(store)
    try:
        as_made(copy)
        sound(copy)
        known_schema(copy)
        room_for(copy.stat().st_size, store.parent)
        coming = store.with_name(f"{store.name}.restoring")
        shutil.copyfile(copy, coming)
        _same_owner(coming, store.parent)
        _sync(coming)
        aside = _set_aside(store, wall_ms)
        coming.rename(store)
        _sync(store.parent)
    except OSError as error:
        raise StoreError(f"{store} could not be put back: {error}") from error
    finally:
        lock.release()
    return aside


def _set_aside(store: Path, wall_ms: int) -> Path | None:
    """Moves a store away whole. Its -wal goes first: SQLite must never find it beside another file."""
    files = [store.with_name(store.name + end) for end in ("-wal", "-shm", "")]
    if not any(file.exists() for file in files):
        return None
    aside = store.parent / f"before-restore-{datetime.fromtimestamp(wall_ms / 1000, UTC):{STAMP}}"
    aside.mkdir(exist_ok=True)
    _same_owner(aside, store.parent)
    for file in files:
        if file.exists():
            file.rename(aside / file.name)
    return aside


def size_of(store: Path) -> int:
    """Bytes a copy may take: the file and all that still lies in its -wal."""
    files = (store, store.with_name(store.name + "-wal"))
    return sum(file.stat().st_size for file in files if file.exists())


def room_for(size: int, folder: Path) -> None:
    """Raises StoreError where `size` bytes and the spare do not fit."""
    free = shutil.disk_usage(folder).free
    if free < size + SPARE_BYTES:
        raise StoreError(
            f"{folder} has {free / 1e6:.0f} MB free; {size / 1e6:.0f} MB and {SPARE_BYTES / 1e6:.0f} MB to "
            "spare are needed: free some, keep fewer copies, or use another disk"
        )


def digest_of(path: Path) -> str:
    """The SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _copy(store: Path, part: Path) -> None:
    """In one step: a reader of a WAL store holds up no writer; in steps, each commit would begin it anew."""
    with closing(_read_only(store)) as source, closing(sqlite3.connect(part)) as target:
        source.backup(target, pages=-1)
        target.execute(
            "PRAGMA journal_mode = DELETE"
        )  # one file, which can be read where nothing can be written


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(path.resolve()))}?mode=ro", uri=True, timeout=5.0)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{folder} cannot be made ({error.strerror}): name another folder") from error


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _same_owner(path: Path, folder: Path) -> None:
    """Run by root, the file must still belong to whom the folder belongs."""
    if os.geteuid() == 0:
        status = folder.stat()
        os.chown(path, status.st_uid, status.st_gid)
