"""A real small IMAP server for the tests (pymap, in memory), behind TLS from the first byte.

pymap speaks TLS only after STARTTLS; what we test wants it from the start (RFC 8314, 3.2), so a thread here
takes the TLS off and hands the bytes on. Mails are put in as any mail program would: by APPEND.
"""

import imaplib
import socket
import ssl
import subprocess
import sys
import threading
from contextlib import suppress

from servers import HOST, READY_S, free_port, listening, wait_until

_RUN = "import sys; from pymap.main import main; sys.exit(main())"


class ImapServer:
    """`port` speaks TLS. User `box`, with the password given."""

    def __init__(self, context: ssl.SSLContext, password: str) -> None:
        self.host = HOST
        self.port = free_port()
        self.logins = 0
        """Links that were opened."""
        self._context = context
        self._inner = free_port()
        self._password = password
        self._process: subprocess.Popen[bytes] | None = None
        self._listener: socket.socket | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", _RUN, "--host", HOST, "--port", str(self._inner), "--no-tls", "dict",
             "--demo-data", "--demo-user", "box", "--demo-password", self._password],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        wait_until(lambda: listening(HOST, self._inner), READY_S, "the IMAP server")
        self._listener = socket.create_server((HOST, self.port))
        threading.Thread(target=self._serve, args=(self._listener,), daemon=True).start()
        with self._direct() as link:  # its demonstration mails are none of ours
            link.select("INBOX")
            link.store("1:*", "+FLAGS", "(\\Seen)")

    def stop(self) -> None:
        if self._listener is not None:
            self._listener.close()
        if self._process is not None:
            self._process.terminate()
            self._process.wait(READY_S)

    def _direct(self) -> imaplib.IMAP4:
        link = imaplib.IMAP4(HOST, self._inner, timeout=READY_S)
        link.login("box", self._password)
        return link

    def deliver(self, raw: bytes) -> None:
        """Puts a mail into the inbox, as it is."""
        with self._direct() as link:
            state, told = link.append("INBOX", "", "", raw)
            assert state == "OK", told

    def unseen(self) -> int:
        """How many mails nobody has looked at."""
        with self._direct() as link:
            link.select("INBOX")
            return len((link.search(None, "UNSEEN")[1][0] or b"").split())

    def _serve(self, listener: socket.socket) -> None:
        while True:
            try:
                raw, _ = listener.accept()
            except OSError:
                return
            threading.Thread(target=self._join, args=(raw,), daemon=True).start()

    def _join(self, raw: socket.socket) -> None:
        with suppress(OSError), raw:
            outside = self._context.wrap_socket(raw, server_side=True)
            self.logins += 1
            with outside, socket.create_connection((HOST, self._inner)) as inside:
                back = threading.Thread(target=_pump, args=(inside, outside), daemon=True)
                back.start()
                _pump(outside, inside)
                back.join(READY_S)


def _pump(source: socket.socket, sink: socket.socket) -> None:
    with suppress(OSError):
        while data := source.recv(65_536):
            sink.sendall(data)
    with suppress(OSError):
        sink.shutdown(socket.SHUT_WR)
