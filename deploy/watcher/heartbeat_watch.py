#!/usr/bin/env python3
"""Watches a farm box from another machine: runs a command of yours when its sign of life stops coming.

    python3 heartbeat_watch.py --run 'mail -s "{state}: farm box" ana@example.org </dev/null'

It needs Python 3.9 or newer and nothing else. The box posts to http://THIS-MACHINE:8787/ (`heartbeat: url:` in
its farm.yaml). A sign of life whose `committed` number has not moved counts as none: the box runs and
does nothing. Late after 5 minutes (said here), silent after 10 (your command runs, and again when it is back).

It listens to this machine alone unless you give it a certificate and a token:
    --bind 0.0.0.0 --cert watch.crt --key watch.key --token-file token
"""

import argparse
import hmac
import json
import shlex
import ssl
import subprocess
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

LOOPBACK = ("127.0.0.1", "::1", "localhost")
MOST_BYTES = 65_536


class Watch:
    """What is known of the box. Times are seconds of a clock that only goes forward."""

    def __init__(self, now_s, late_s, silent_s):
        self.late_s, self.silent_s = late_s, silent_s
        self.alive_s, self.number, self.state = now_s, None, "alive"

    def heard(self, beat, now_s):
        """Takes a sign of life. Returns the new state where it changed, else None."""
        number = beat.get("committed")
        if number is not None and number == self.number:
            return self.look(now_s)  # the box says something and does nothing
        self.number, self.alive_s = number, now_s
        return self._now("alive")

    def look(self, now_s):
        """Looks at the clock. Returns the new state where it changed, else None."""
        quiet_s = now_s - self.alive_s
        if quiet_s >= self.silent_s:
            return self._now("silent")
        if quiet_s >= self.late_s and self.state != "silent":
            return self._now("late")
        return None

    def _now(self, state):
        before, self.state = self.state, state
        quietly = (before, state) == ("late", "alive")  # nobody had been told
        return None if state == before or quietly else state


def told(state, command):
    """Says a change here, and runs the grower's command for what matters."""
    print(time.strftime("%Y-%m-%d %H:%M:%S"), state, flush=True)
    if command and state != "late":
        subprocess.run(command.replace("{state}", shlex.quote(state)), shell=True, check=False)  # noqa: S602


def handler(watch, lock, command, token):
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            given = self.headers.get("Authorization", "")
            if token and not hmac.compare_digest(given.encode(), f"Bearer {token}".encode()):
                return self.answer(401)
            length = int(self.headers.get("Content-Length") or 0)
            if not 0 < length <= MOST_BYTES:
                return self.answer(413)
            try:
                beat = json.loads(self.rfile.read(length))
            except ValueError:
                return self.answer(400)
            if not isinstance(beat, dict):
                return self.answer(400)
            with lock:
                change = watch.heard(beat, time.monotonic())
            self.answer(204)
            if change:
                told(change, command)

        def answer(self, status):
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format, *args):
            pass

    return Handler


def main():
    as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=as_written)
    parser.add_argument("--bind", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=8787)
    parser.add_argument("--late", type=float, default=300, help="seconds")
    parser.add_argument("--silent", type=float, default=600, help="seconds")
    parser.add_argument("--run", default="", help="a command; {state} becomes silent or alive")
    parser.add_argument("--cert")
    parser.add_argument("--key")
    parser.add_argument("--token-file")
    given = parser.parse_args()
    secret = Path(given.token_file).read_text(encoding="utf-8") if given.token_file else ""
    token = secret.partition("\n")[0].strip()
    if given.bind not in LOOPBACK and not (given.cert and token):
        sys.exit("anybody could keep it quiet: listening to others needs --cert, --key and --token-file")
    watch, lock = Watch(time.monotonic(), given.late, given.silent), threading.Lock()
    server = ThreadingHTTPServer((given.bind, given.port), handler(watch, lock, given.run, token))
    if given.cert:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(given.cert, given.key)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    print("watching at", f"{given.bind}:{server.server_address[1]}", flush=True)
    step = min(5.0, given.late / 4)
    while True:
        threading.Event().wait(step)
        with lock:
            change = watch.look(time.monotonic())
        if change:
            told(change, given.run)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        pass
