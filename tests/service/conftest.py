"""The real daemon as a child process, and the board it listens to."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from farm import Board, Daemon

from servers import MosquittoBroker


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Daemon]:
    one = Daemon(tmp_path, broker)
    yield one
    one.kill()


@pytest.fixture
def board(broker: MosquittoBroker) -> Iterator[Board]:
    one = Board(broker)
    yield one
    one.close()
