"""The daemon speaks to the addresses of its config and to no other; nobody can speak to it from outside.

Every connect, bind and look-up of a name is seen by Python's own audit hook (PEP 578), put in before it
begins; what really listens is asked of the kernel (proc(5), /proc/net/tcp).
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from farm import Board, Daemon

from gillhouse.config import load, load_files, shipped_dir
from gillhouse.errors import ConfigError
from servers import HttpReceiver, MosquittoBroker, SmtpServer, wait_until

HOOK = """
import json, os, sys
_out = os.open(os.environ["SEEN"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
def _see(event, args):
    if event in ("socket.connect", "socket.bind", "socket.getaddrinfo", "socket.sendto"):
        told = args[:2] if event == "socket.getaddrinfo" else args[1]
        os.write(_out, (json.dumps([event, told], default=repr) + "\\n").encode())
sys.addaudithook(_see)
"""

MORE = """
channels:
  mail: {{kind: mail, host: 127.0.0.1, port: {mail}, security: "off", sender: farm@example.org}}
  hook: {{kind: webhook, url: "http://127.0.0.1:{hook}/hook"}}
people:
  ana: {{name: Ana, reach: [{{channel: mail, to: ana@example.org}}, {{channel: hook}}]}}
mirror: {{url: "http://127.0.0.1:{hook}", every: 1 s}}
"""


@pytest.fixture
def daemon(
    tmp_path: Path, broker: MosquittoBroker, smtp_server: SmtpServer, http_receiver: HttpReceiver,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Daemon]:  # fmt: skip
    hooks = tmp_path / "hooks"
    hooks.mkdir()
    (hooks / "sitecustomize.py").write_text(HOOK)
    monkeypatch.setenv("PYTHONPATH", str(hooks))
    monkeypatch.setenv("SEEN", str(tmp_path / "seen"))
    made = Daemon(tmp_path, broker)
    with made.config.open("a") as farm:
        farm.write(MORE.format(mail=smtp_server.port, hook=http_receiver.port))
    made.start()
    yield made
    made.kill()


def seen(daemon: Daemon) -> list[tuple[str, object]]:
    lines = (daemon.folder / "seen").read_text().splitlines()
    return [(event, told) for event, told in map(json.loads, lines)]


def own_pipes(daemon: Daemon) -> set[int]:
    """Ports of the MQTT library's own wake-up pairs: bound to a free loopback port, then reached at once."""
    events = seen(daemon)
    return {
        told[1]
        for (before, bound), (event, told) in pairwise(events)
        if before == "socket.bind" and bound == ["127.0.0.1", 0] and event == "socket.connect"
        and isinstance(told, list)
    }  # fmt: skip


def test_every_connection_goes_where_the_config_says(
    daemon: Daemon, broker: MosquittoBroker, smtp_server: SmtpServer, http_receiver: HttpReceiver
) -> None:
    board = Board(broker)
    try:
        wait_until(lambda: "broker there" in daemon.log.read_text(), 20, "the link")
        wait_until(lambda: board.air(90.0) or http_receiver.requests, 30, "the mirror's lines")
        tried = [sys.executable, "-m", "gillhouse", "try-alert", "--config", str(daemon.config)]
        subprocess.run(tried, check=True, capture_output=True)
        wait_until(lambda: smtp_server.messages, 20, "the mail")
    finally:
        board.close()
    allowed = {broker.port, smtp_server.port, http_receiver.port}
    reached = [told for event, told in seen(daemon) if event in ("socket.connect", "socket.sendto")]
    network = [told for told in reached if isinstance(told, list)]
    assert {port for _, port, *_ in network} - own_pipes(daemon) == allowed
    assert {host for host, *_ in network} == {"127.0.0.1"}
    local = [told for told in reached if not isinstance(told, list)]
    assert all(str(told).endswith("local.sock") for told in local)
    asked = {told[0] for event, told in seen(daemon) if event == "socket.getaddrinfo"}
    assert asked <= {"127.0.0.1"}


def test_a_fresh_start_listens_on_nothing_but_its_socket_file(daemon: Daemon) -> None:
    """`0A` in the fourth column of /proc/net/tcp is LISTEN."""
    assert daemon.process is not None
    own = {
        link.readlink().name.removeprefix("socket:[").removesuffix("]")
        for link in Path(f"/proc/{daemon.process.pid}/fd").iterdir()
        if link.is_symlink() and str(link.readlink()).startswith("socket:")
    }
    listening = [
        columns[1]
        for table in ("tcp", "tcp6", "udp", "udp6")
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]
        if (columns := line.split())[9] in own and (columns[3] == "0A" or "udp" in table)
    ]
    assert listening == []
    bound = [told for event, told in seen(daemon) if event == "socket.bind"]
    # Port 0 is the near end of an outgoing connection: the system picks one.
    assert [told for told in bound if isinstance(told, list) and told[1] != 0] == []


def test_a_broker_elsewhere_without_tls_has_to_be_asked_for(tmp_path: Path) -> None:
    """Off this machine the link is TLS and checked; turning that off is written down, and warned of."""
    farm = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    head, _, rest = farm.partition("\nbroker:")
    after = rest[rest.index("\n\n") :]
    away = load_files({"farm.yaml": f"{head}\nbroker: {{host: 192.0.2.7}}{after}"})
    assert (away.broker.tls, away.broker.port) == (True, 8883)
    plain = load_files({"farm.yaml": f"{head}\nbroker: {{host: 192.0.2.7, tls: no}}{after}"})
    assert not plain.broker.tls
    assert any("tls" in warning.lower() for warning in plain.warnings)
    assert not [warning for warning in away.warnings if "tls" in warning.lower()]
    with pytest.raises(ConfigError):
        load(tmp_path / "none.yaml")
