"""The real servers the tests talk to: an MQTT broker, a mail receiver and an HTTP receiver, all on loopback.

Each is started on a free port in a directory of its own and stopped after the test. A missing server is a
failed test that says what to install, never a skipped one. Nothing here waits for a fixed time: `wait_until`
looks at a condition until it holds or its deadline has come.
"""

import json
import shutil
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from os import environ, geteuid
from pathlib import Path
from typing import TypeVar

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

HOST = "127.0.0.1"
READY_S = 10.0
"""How long a server may take to come up or go down on a busy machine."""

T = TypeVar("T")


def wait_until(predicate: Callable[[], T], timeout_s: float = 5.0, what: str = "the condition") -> T:
    """Looks at `predicate` until it gives something true, and returns that.

    Raises:
        AssertionError: it did not within `timeout_s` seconds; `what` names what was waited for.
    """
    end = time.monotonic() + timeout_s
    while True:
        found = predicate()
        if found:
            return found
        if time.monotonic() > end:
            raise AssertionError(f"waited {timeout_s:g} s for {what}; last seen {found!r}")
        time.sleep(0.005)  # between two looks; the result never depends on it


def free_port() -> int:
    """A loopback port nobody listens on right now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def listening(host: str, port: int) -> bool:
    """Something accepts connections there."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex((host, port)) == 0


def program(name: str, package: str) -> str:
    """Path of an installed program.

    Raises:
        AssertionError: it is not installed; names the Debian package that has it.
    """
    found = shutil.which(name, path=f"{environ.get('PATH', '')}:/usr/sbin:/usr/bin:/usr/local/bin")
    if found is None:
        raise AssertionError(f"{name} is not installed; these tests need it: apt-get install {package}")
    return found


class MosquittoBroker:
    """Debian's mosquitto, anonymous, on loopback. Queued messages live in memory unless `persistent`.

    `stop` and `start` keep port, directory and (if persistent) what the broker remembers.
    """

    def __init__(self, directory: Path, *, persistent: bool = False, max_queued: int = 20_000) -> None:
        self.host = HOST
        self.port = free_port()
        self.directory = directory
        self._program = program("mosquitto", "mosquitto")
        self._process: subprocess.Popen[bytes] | None = None
        self._config = directory / "mosquitto.conf"
        lines = [
            f"listener {self.port} {HOST}",
            "allow_anonymous true",
            f"max_queued_messages {max_queued}",
            f"persistence {'true' if persistent else 'false'}",
            f"persistence_location {directory}/",
            "autosave_interval 1",
            f"log_dest file {directory}/mosquitto.log",
        ]
        if geteuid() == 0:
            lines.append("user root")  # else it drops to a user that may not write the test's directory
        self._config.write_text("\n".join(lines) + "\n")

    def start(self) -> None:
        """Starts it and waits until it accepts connections."""
        if self._process is not None:
            return
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_until(self._up, READY_S, f"mosquitto on port {self.port}; see {self.directory}/mosquitto.log")

    def _up(self) -> bool:
        if self._process is not None and self._process.poll() is not None:
            log = self.directory / "mosquitto.log"
            said = log.read_text(errors="replace") if log.exists() else "(no log)"
            raise AssertionError(f"mosquitto ended with {self._process.returncode}: {said[-500:]}")
        return listening(self.host, self.port)

    def stop(self) -> None:
        """Asks it to end, as the service manager would."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(READY_S)
            self._process = None

    def kill(self) -> None:
        """Ends it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(READY_S)
            self._process = None

    def restart(self) -> None:
        self.stop()
        self.start()


def certificate(folder: Path) -> tuple[ssl.SSLContext, str]:
    """A server's context and the authority to trust, for 127.0.0.1 alone; made for the test."""
    key, cert = folder / "key.pem", folder / "cert.pem"
    subprocess.run(
        [
            program("openssl", "openssl"),
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:prime256v1",
            "-nodes",
            "-keyout",
            str(key),
            "-out",
            str(cert),
            "-days",
            "2",
            "-subj",
            "/CN=127.0.0.1",
            "-addext",
            "subjectAltName=IP:127.0.0.1",
        ],
        check=True,
        capture_output=True,
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    return context, str(cert)


@dataclass(frozen=True)
class ReceivedMail:
    """One mail as it came over the wire."""

    sender: str
    recipients: tuple[str, ...]
    mail: Message
    tls: bool
    login: str | None

    @property
    def subject(self) -> str:
        return str(self.mail["Subject"])

    @property
    def text(self) -> str:
        """Its plain text, without the line end a mail always has."""
        for part in self.mail.walk():
            if part.get_content_type() == "text/plain" and part.get_filename() is None:
                body = part.get_payload(decode=True)
                assert isinstance(body, bytes)
                return body.decode().replace("\r\n", "\n").rstrip("\n")
        raise AssertionError("a mail with no plain text")


class SmtpServer:
    """A mail receiver (aiosmtpd). `refuse` makes it answer so to every mail; None takes them.

    Args:
        tls: `none`, `starttls` (demanded before any mail) or `tls` (from the first byte).
        context: its certificate, for the latter two.
        user: `(name, password)` it demands.
    """

    def __init__(
        self,
        tls: str = "none",
        context: ssl.SSLContext | None = None,
        user: tuple[str, str] | None = None,
    ) -> None:
        self.host = HOST
        self.port = free_port()
        self.messages: list[ReceivedMail] = []
        self.refuse: str | None = None
        self.attempts = 0
        self._user = user
        self._tls = tls
        self._context = context
        self._controller: Controller | None = None

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.attempts += 1
        if self.refuse is not None:
            return self.refuse
        content = envelope.content
        assert isinstance(content, bytes)
        login = session.auth_data
        self.messages.append(
            ReceivedMail(
                envelope.mail_from or "",
                tuple(envelope.rcpt_tos),
                message_from_bytes(content),
                self._tls == "tls" or session.ssl is not None,
                login.login.decode() if isinstance(login, LoginPassword) else None,
            )
        )
        return "250 OK"

    def _check(
        self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, data: object
    ) -> AuthResult:
        right = (
            self._user is not None
            and isinstance(data, LoginPassword)
            and (data.login.decode(), data.password.decode()) == self._user
        )
        return AuthResult(success=right, handled=right, auth_data=data)

    def start(self) -> None:
        self._controller = Controller(
            self,
            hostname=self.host,
            port=self.port,
            server_hostname="receiver.invalid",  # else it asks the name service who we are
            ready_timeout=READY_S,
            ssl_context=self._context if self._tls == "tls" else None,
            tls_context=self._context if self._tls == "starttls" else None,
            require_starttls=self._tls == "starttls",
            authenticator=self._check if self._user else None,
            auth_required=self._user is not None and self._tls == "starttls",
            auth_require_tls=self._tls == "starttls",
        )
        self._controller.start()

    def stop(self) -> None:
        if self._controller is not None:
            self._controller.stop()
            self._controller = None


@dataclass(frozen=True)
class ReceivedRequest:
    """One HTTP request as it came."""

    method: str
    path: str
    headers: dict[str, str]
    """Names in lower case."""
    body: bytes

    def json(self) -> object:
        return json.loads(self.body)


@dataclass
class HttpReceiver:
    """A threading HTTP server that keeps what it was sent. `status` is what it answers."""

    context: ssl.SSLContext | None = None
    status: int = 204
    location: str | None = None
    """Sent as the Location header, for redirects."""
    requests: list[ReceivedRequest] = field(default_factory=list)
    host: str = HOST
    port: int = field(default_factory=free_port)
    _server: ThreadingHTTPServer | None = None
    _thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        return f"{'https' if self.context else 'http'}://{self.host}:{self.port}/hook"

    def start(self) -> None:
        self._server = ThreadingHTTPServer((self.host, self.port), self._handler())
        self._server.daemon_threads = True
        if self.context is not None:
            self._server.socket = self.context.wrap_socket(self._server.socket, server_side=True)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)
        self._thread.start()

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def _take(self) -> None:
                length = int(self.headers.get("Content-Length") or 0)
                names = {name.lower(): value for name, value in self.headers.items()}
                receiver.requests.append(
                    ReceivedRequest(self.command, self.path, names, self.rfile.read(length))
                )
                self.send_response(receiver.status)
                if receiver.location is not None:
                    self.send_header("Location", receiver.location)
                self.send_header("Content-Length", "0")
                self.end_headers()

            do_POST = do_GET = do_PUT = _take

            def log_message(self, format: str, *args: object) -> None:
                """Kept off the test's output."""

        return Handler

    def stop(self) -> None:
        if self._server is not None and self._thread is not None:
            self._server.shutdown()
            self._server.server_close()
            self._thread.join(READY_S)
            self._server = None


@pytest.fixture
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    """A running mosquitto that forgets everything when stopped."""
    running = MosquittoBroker(tmp_path_factory.mktemp("broker"))
    running.start()
    yield running
    running.stop()


@pytest.fixture
def persistent_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MosquittoBroker]:
    """A running mosquitto that keeps sessions, queues and retained messages over stop and start."""
    running = MosquittoBroker(tmp_path_factory.mktemp("broker"), persistent=True)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def smtp_server() -> Iterator[SmtpServer]:
    """A running mail receiver without TLS; `refuse = "451 try later"` turns mails away."""
    running = SmtpServer()
    running.start()
    yield running
    running.stop()


@pytest.fixture
def http_receiver() -> Iterator[HttpReceiver]:
    """A running HTTP receiver; `status = 503` turns requests away."""
    running = HttpReceiver()
    running.start()
    yield running
    running.stop()
