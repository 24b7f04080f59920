"""The counts behind `docs/reference/card-wear.md`: that they are of one thread, and count what was written.

Outside truth: proc(5): wchar is what was given to write calls, write_bytes what the storage layer was sent.
"""

import os
import threading
from pathlib import Path

from tests.bench.card_wear import DOCUMENT, PACES, Day, Io, io_of, page

MEGABYTE = 1_000_000


def test_the_counts_are_of_the_thread_named_and_of_all_it_wrote(tmp_path: Path) -> None:
    go, wrote, end = threading.Event(), threading.Event(), threading.Event()

    def write() -> None:
        go.wait(10)
        with (tmp_path / "file").open("wb", buffering=0) as file:
            file.write(b"x" * MEGABYTE)
            os.fsync(file.fileno())
        wrote.set()
        end.wait(10)

    thread = threading.Thread(target=write, name="scribe")
    thread.start()
    before = io_of("scribe")
    (tmp_path / "another").write_bytes(b"y" * 5 * MEGABYTE)  # by this thread: not counted
    go.set()
    assert wrote.wait(10)
    found = io_of("scribe").since(before)
    end.set()
    thread.join()
    assert MEGABYTE <= found.handed_over < 2 * MEGABYTE
    # On a disk whole pages of 4,096 bytes; a file system in memory has none.
    assert found.to_disk == 0 or MEGABYTE <= found.to_disk < 2 * MEGABYTE
    assert found.calls >= 1


def test_the_page_is_of_this_make() -> None:
    kept = DOCUMENT.read_text(encoding="utf-8")
    made = page([Day(pace, Io(1_000_000, 2_000_000, 3), 4_000_000, 1_000) for pace in PACES])
    assert "2 MB | 0.7 GB | 3 | 4.0 MB" in made
    assert "2,000 bytes to the disk for each reading" in made
    for pace in PACES:
        assert f"`{pace}`" in kept

    def still(text: str) -> list[str]:
        """Its lines without figures."""
        return [line for line in text.splitlines() if not any(sign.isdigit() for sign in line)]

    assert still(kept) == still(made)
