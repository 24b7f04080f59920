"""The Unix socket in the state directory: how the command line reaches a running daemon.

One JSON object a line, one answer a line. The peer's user is asked of the kernel and recorded as who did it.
Nothing here decides: the daemon hands in one function that answers, and it is called on a thread of this
module's own.
"""

import json
import logging
import os
import pwd
import secrets
import socket
import socketserver
import struct
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from gillhouse.clock import Clock
from gillhouse.core.edges import RateSettings
from gillhouse.core.inputs import LOCAL, Input, TooMany
from gillhouse.errors import LocalError
from gillhouse.payloads.rate import Rates

log = logging.getLogger(__name__)

SOCKET_NAME = "local.sock"
WHO = "GILLHOUSE_WHO"
"""In the environment of a command: the person of the config who gives it, where several share one login."""

LONGEST_LINE = 65_536
"""Bytes; a longer request is refused."""

Answer = Callable[[dict[str, Any], str], dict[str, Any]]
"""(request, who) -> reply; an exception of the family becomes `{"error": ...}`."""


def peer_name(connection: socket.socket) -> str:
    """The login name at the other end of a Unix socket, or `uid N`. Source: unix(7), SO_PEERCRED."""
    _, uid, _ = struct.unpack(
        "3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    )
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"uid {uid}"


class Turns:
    """How fast each user may ask. Any thread."""

    def __init__(self, clock: Clock, settings: RateSettings, tell: Callable[[Input], None]) -> None:
        """`tell` is given what the core has to know of it, and must return at once."""
        self._clock, self._tell = clock, tell
        self._rates = Rates(settings.local_per_s, settings.local_burst)
        self._lock = threading.Lock()

    def take(self, who: str) -> bool:
        """One request of a user. False: it is over the limit."""
        with self._lock:
            within = self._rates.take(who, self._clock.now().mono_ms)
            first = not within and self._rates.dropped(who) == 1
        if first:
            self._tell(TooMany(LOCAL, True, LOCAL, 1, who))
        return within

    def ended(self, mono_ms: int) -> list[TooMany]:
        """Who keeps the limit again, each told once."""
        with self._lock:
            quiet = self._rates.quiet(mono_ms)
        return [TooMany(LOCAL, False, LOCAL, dropped, who) for who, dropped in quiet.items()]

    def next_ms(self) -> int | None:
        """When `ended` may have something to tell."""
        with self._lock:
            return self._rates.next_ms()


class _Handler(socketserver.StreamRequestHandler):
    timeout = 30.0

    def handle(self) -> None:
        who = peer_name(self.connection)
        line = self.rfile.readline(LONGEST_LINE + 1)
        reply: dict[str, Any]
        try:
            if len(line) > LONGEST_LINE:
                raise ValueError("request too long")
            request = json.loads(line)
            if not isinstance(request, dict):
                raise ValueError("a request is one JSON object on one line")
            assert isinstance(self.server, _Server)
            if not self.server.lets(who):
                raise ValueError("too many requests; wait a little")
            reply = self.server.answer(request, who)
        except (ValueError, KeyError, TypeError, RecursionError, OSError) as error:
            reply = {"error": f"refused: {error}"}
        except Exception:  # a mistake of ours: the client gets a number to ask by, the log gets the rest
            number = secrets.token_hex(4)
            log.exception("a request failed, number %s", number)
            reply = {"error": f"something went wrong here; it stands in the log under {number}"}
        self.wfile.write(json.dumps(reply).encode() + b"\n")


class _Server(socketserver.ThreadingUnixStreamServer):
    daemon_threads = True
    answer: Answer
    lets: Callable[[str], bool]


class LocalServer:
    """Listens on `state_dir/local.sock`, mode 0660, until stopped."""

    def __init__(
        self, state_dir: Path, answer: Answer, lets: Callable[[str], bool] = lambda _who: True
    ) -> None:
        """`lets` says of each request whether its user may ask now."""
        self._path = state_dir / SOCKET_NAME
        # A socket's name may be at most 107 bytes long (unix(7)), a state directory's may be longer:
        # so the name is bound through a descriptor of the directory.
        self._directory = os.open(state_dir, os.O_RDONLY | os.O_DIRECTORY)
        self._path.unlink(missing_ok=True)
        previous = os.umask(0o117)
        try:
            self._server = _Server(f"/proc/self/fd/{self._directory}/{SOCKET_NAME}", _Handler)
        finally:
            os.umask(previous)
        self._server.answer = answer
        self._server.lets = lets
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.2,), name="local", daemon=True
        )

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()
        self._path.unlink(missing_ok=True)
        os.close(self._directory)


def is_running(state_dir: Path) -> bool:
    """Somebody listens on the socket. One that a killed daemon left behind refuses."""
    if not (state_dir / SOCKET_NAME).exists():
        return False
    directory = os.open(state_dir, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(2.0)
            return connection.connect_ex(f"/proc/self/fd/{directory}/{SOCKET_NAME}") == 0
    finally:
        os.close(directory)


def ask(state_dir: Path, request: dict[str, Any], timeout_s: float = 10.0) -> dict[str, Any]:
    """Sends one request to the daemon running on `state_dir`.

    Raises:
        LocalError: nothing is running there, or it refused; the message says which.
    """
    if not (state_dir / SOCKET_NAME).exists():
        raise LocalError(f"nothing is running on {state_dir}: start it with `gillhouse run`")
    named = os.environ.get(WHO)
    request = {**request, "who": named} if named else request
    directory = os.open(state_dir, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.settimeout(timeout_s)
            connection.connect(f"/proc/self/fd/{directory}/{SOCKET_NAME}")
            connection.sendall(json.dumps(request).encode() + b"\n")
            line = connection.makefile("rb").readline()
    except (ConnectionError, TimeoutError, FileNotFoundError) as error:
        raise LocalError(f"nothing answers on {state_dir} ({error}): is `gillhouse run` still up?") from error
    except PermissionError as error:
        raise LocalError(
            f"not allowed to talk to the daemon on {state_dir}: join its group, or use its user"
        ) from error
    finally:
        os.close(directory)
    reply: dict[str, Any] = json.loads(line or b'{"error": "it closed without an answer"}')
    if "error" in reply:
        raise LocalError(str(reply["error"]))
    return reply
