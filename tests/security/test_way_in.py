"""The one way in there is so far: the socket in the state directory. Who may, who is it, what is told.

There is no page yet: what the list asks of it (items 10, 11 and 12) is held here to the local socket.
"""

import json
import os
import random
import socket
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gillhouse.errors import LocalError
from gillhouse.local import SOCKET_NAME, LocalServer, ask
from gillhouse.requests import REQUESTS

NOBODY = 65534
"""The user without rights of Debian's base-passwd."""


def _answer(request: dict[str, Any], who: str) -> dict[str, Any]:
    if request.get("say") == "broken":
        secret = {"inside": "/etc/gillhouse/secrets/broker"}
        raise ZeroDivisionError(f"{secret}")
    return {"who": who}


@pytest.fixture
def state(tmp_path: Path) -> Iterator[Path]:
    server = LocalServer(tmp_path, _answer)
    server.start()
    yield tmp_path
    server.stop()


def test_others_are_turned_away_by_the_system_itself(state: Path) -> None:
    path = state / SOCKET_NAME
    assert stat.S_IMODE(path.stat().st_mode) == 0o660
    assert os.geteuid() == 0, "run as root: only root can try the door as somebody else"
    for folder in (
        state,
        *state.parents,
    ):  # the way there is open, so it is the socket's own mode that counts
        if str(folder).startswith("/tmp/") and folder.is_dir():
            folder.chmod(0o755)
    tried = subprocess.run(
        [sys.executable, "-c",
         f"import os, socket, sys; os.setgroups([]); os.setgid({NOBODY}); os.setuid({NOBODY});"
         "s = socket.socket(socket.AF_UNIX); s.connect(sys.argv[1])", str(path)],
        capture_output=True, text=True,
    )  # fmt: skip
    assert "PermissionError" in tried.stderr


def test_who_asks_is_the_kernels_word_and_not_the_clients(state: Path) -> None:
    said = ask(state, {"say": "hello", "who": "somebody else", "uid": 0})
    assert said["who"] == subprocess.check_output(["id", "-un"], text=True).strip()


def test_a_mistake_of_ours_tells_the_client_a_number_and_no_more(
    state: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with pytest.raises(LocalError) as told:
        ask(state, {"say": "broken"})
    said = str(told.value)
    number = said.rsplit(" ", 1)[1]
    assert len(number) == 8
    assert not any(word in said for word in ("Traceback", "ZeroDivision", "secrets", ".py", "/etc"))
    assert any(number in record.getMessage() and record.exc_info for record in caplog.records)


def test_no_request_however_odd_gets_a_traceback(state: Path) -> None:
    chance = random.Random(13)
    odd: list[object] = [None, [], {}, "x" * 1000, -1, 1e308, True, {"ask": {"ask": {}}}, "\ud800", "\x00"]
    for _ in range(300):
        request = {chance.choice(["ask", "say", "act", "who", "for_ms", "", "$"]): chance.choice(odd)}
        with socket.socket(socket.AF_UNIX) as raw:
            raw.connect(str(state / SOCKET_NAME))
            raw.sendall(json.dumps(request).encode() + b"\n")
            reply = raw.makefile("rb").readline()
        assert json.loads(reply).keys() <= {"who", "error"}
        assert b"Traceback" not in reply


def test_nothing_that_can_be_asked_changes_a_limit() -> None:
    """Item 11: longest runs and interlocks come from the config file alone; no request carries a setting."""
    assert set(REQUESTS) == {"status", "act", "batch", "calibrate", "away", "measure", "measured"}
