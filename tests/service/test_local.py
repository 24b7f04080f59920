"""The local socket: who asks, what is refused, and names longer than a socket's may be."""

import getpass
import json
import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gillhouse.errors import LocalError
from gillhouse.local import LONGEST_LINE, SOCKET_NAME, LocalServer, ask


def _answer(request: dict[str, Any], who: str) -> dict[str, Any]:
    if request["say"] == "boom":
        raise ValueError("no such word")
    return {"said": request["say"], "who": who}


@pytest.fixture
def state(tmp_path: Path) -> Iterator[Path]:
    server = LocalServer(tmp_path, _answer)
    server.start()
    yield tmp_path
    server.stop()


def test_the_peer_is_named_by_the_kernel(state: Path) -> None:
    assert ask(state, {"say": "hello"}) == {"said": "hello", "who": getpass.getuser()}


def test_only_owner_and_group_reach_it(state: Path) -> None:
    assert stat.S_IMODE(os.stat(state / SOCKET_NAME).st_mode) == 0o660


@pytest.mark.parametrize("request_", [{"say": "boom"}, {}])
def test_an_error_comes_back_as_words(state: Path, request_: dict[str, Any]) -> None:
    with pytest.raises(LocalError, match="refused"):
        ask(state, request_)


@pytest.mark.parametrize(
    "line",
    [b"not json\n", b"[1]\n", b"[" * 20_000 + b"\n", b"x" * (LONGEST_LINE + 2) + b"\n", b"\xff\n", b"\n"],
)
def test_bad_lines_are_refused_and_the_next_one_is_answered(state: Path, line: bytes) -> None:
    with socket.socket(socket.AF_UNIX) as raw:
        raw.connect(str(state / SOCKET_NAME))
        raw.sendall(line)
        reply = json.loads(raw.makefile("rb").readline())
    assert reply["error"].startswith("refused")
    assert ask(state, {"say": "still there"})["said"] == "still there"


def test_a_state_directory_may_have_a_long_name(tmp_path: Path) -> None:
    """A socket's name may be 107 bytes at most (unix(7))."""
    deep = tmp_path / ("d" * 120)
    deep.mkdir()
    server = LocalServer(deep, _answer)
    server.start()
    assert ask(deep, {"say": "deep"})["said"] == "deep"
    server.stop()


def test_nothing_running_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(LocalError, match="nothing is running"):
        ask(tmp_path, {"say": "hello"})


def test_a_socket_left_by_a_crash_is_told_apart(tmp_path: Path) -> None:
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(tmp_path / SOCKET_NAME))
    left.close()
    with pytest.raises(LocalError, match="nothing answers"):
        ask(tmp_path, {"say": "hello"})
    server = LocalServer(tmp_path, _answer)
    server.start()
    assert ask(tmp_path, {"say": "again"})["said"] == "again"
    server.stop()
