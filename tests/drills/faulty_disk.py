"""`gillhouse` on a disk that does what a file says: stalls, is full, is read-only, or fails.

`python -m tests.drills.faulty_disk FAULT_FILE run ...`. SQLite's unix layer lets a test take the place of
its system calls (sqlite3_vfs.xSetSystemCall; SQLite documentation, "The OS backend (VFS)"), so the writes
of the store's own library go through here, in the daemon's own process and thread, with no rights and no
compiler needed. The fault file holds one word and, for a stall, milliseconds: `stall 5000`, `full`,
`read-only`, `broken`; empty or missing: the disk is well. It is looked at on every write.
"""

import atexit
import ctypes
import errno
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path

FAILS = {"full": errno.ENOSPC, "read-only": errno.EROFS, "broken": errno.EIO}
"""Word in the fault file -> what the write answers. Source: write(2)."""
PWRITE = ctypes.CFUNCTYPE(
    ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int64, use_errno=True
)
SET = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p)
GET = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)


class Vfs(ctypes.Structure):
    """sqlite3_vfs, version 3. Source: sqlite3.h."""

    _fields_ = (
        ("version", ctypes.c_int), ("os_file", ctypes.c_int), ("longest_path", ctypes.c_int),
        ("next", ctypes.c_void_p), ("name", ctypes.c_char_p), ("data", ctypes.c_void_p),
        *((f"method_{n}", ctypes.c_void_p) for n in range(13)),
        ("set_system_call", SET), ("get_system_call", GET), ("next_system_call", ctypes.c_void_p),
    )  # fmt: skip


def take_over(fault: Callable[[], str]) -> None:
    """Puts itself between SQLite and pwrite, for the rest of the process's life."""
    library = ctypes.CDLL("libsqlite3.so.0")
    library.sqlite3_vfs_find.restype = ctypes.POINTER(Vfs)
    vfs = library.sqlite3_vfs_find(None)
    real = {}
    waits = threading.Event()

    def answer(name: bytes) -> Callable[[int, int, int, int], int]:
        def write(fd: int, data: int, size: int, offset: int) -> int:
            word, _, number = fault().partition(" ")
            if word == "stall":
                waits.wait(int(number) / 1000)
            elif word:
                ctypes.set_errno(FAILS[word])
                return -1
            done: int = real[name](fd, data, size, offset)
            return done

        return write

    for name in (b"pwrite64", b"pwrite"):
        was = vfs.contents.get_system_call(ctypes.cast(vfs, ctypes.c_void_p), name)
        if was:
            real[name] = PWRITE(was)
            KEPT.append(PWRITE(answer(name)))
            vfs.contents.set_system_call(vfs, name, ctypes.cast(KEPT[-1], ctypes.c_void_p))
    if not real:
        raise RuntimeError(
            "this SQLite has no system calls to take the place of: build it for unix, as Debian does"
        )
    # Python's end would take the functions away while SQLite may still call them.
    atexit.register(lambda: vfs.contents.set_system_call(vfs, None, None))


KEPT: list[object] = []
"""What SQLite calls must not be collected."""


def main() -> None:
    path = Path(sys.argv.pop(1))

    def fault() -> str:
        try:
            return path.read_text().strip()
        except FileNotFoundError:
            return ""

    take_over(fault)
    from gillhouse.__main__ import main as gillhouse

    gillhouse()


def put(path: Path, word: str) -> None:
    """Has the disk do so from the next write on; whole at once, since it is read any time."""
    other = path.with_suffix(".new")
    other.write_text(word)
    os.replace(other, path)


if __name__ == "__main__":
    main()
