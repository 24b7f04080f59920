"""Planted secrets: none turns up in the log, the command line, the environment, the journal or a parcel.

The daemon is a process of its own with a password for its broker, a mail account, a hook's token and people.
"""

import os
import re
import stat
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from farm import Daemon

from gillhouse.__main__ import cli
from servers import HttpReceiver, MosquittoBroker, wait_until

SECRETS = {
    "broker": "Plant-7f3a-broker", "mail": "Plant-91cc-mail", "hook": "Plant-55e0-token",
}  # fmt: skip
PEOPLE = ("Zenobia Quill", "zq@planted.example", "+4915100004711", "quill-login")
SAID = "the key lies under Plant-note-stone"

MORE = """
channels:
  mail: {{kind: mail, host: 127.0.0.1, port: 1, sender: farm@planted.example,
         username: mail-account, password_file: mail.secret}}
  hook: {{kind: webhook, url: "http://127.0.0.1:{hook}/Plant-url-path", token_file: hook.secret}}
people:
  zen:
    name: Zenobia Quill
    phone: "+4915100004711"
    logins: [quill-login]
    reach: [{{channel: mail, to: zq@planted.example}}, {{channel: hook}}]
"""


@pytest.fixture
def daemon(tmp_path: Path, broker: MosquittoBroker, http_receiver: HttpReceiver) -> Iterator[Daemon]:
    made = Daemon(tmp_path, broker)
    for name, secret in SECRETS.items():
        kept = tmp_path / f"{name}.secret"
        kept.write_text(secret + "\n")
        kept.chmod(0o600)
    text = made.config.read_text().replace(
        "client_id: under-test}", "client_id: under-test, username: box, password_file: broker.secret}"
    )
    made.config.write_text(text + MORE.format(hook=http_receiver.port))
    made.start()
    wait_until(lambda: "broker there" in made.log.read_text(), 20, "the link")
    made.run("note", "tent", SAID)
    yield made
    made.kill()


def held_in(text: str, words: tuple[str, ...]) -> list[str]:
    return [word for word in words if word in text]


def test_secrets_reach_neither_log_nor_argv_nor_environment_nor_journal(daemon: Daemon) -> None:
    assert daemon.process is not None
    proc = Path(f"/proc/{daemon.process.pid}")
    tried = subprocess.run(
        [sys.executable, "-m", "gillhouse", "try-alert", "--config", str(daemon.config)],
        capture_output=True,
        text=True,
    )
    assert tried.returncode == 1, "the mail server is not there"
    daemon.run("now", "--json")
    places = {
        "log": daemon.log.read_text(),
        "try-alert": tried.stdout + tried.stderr,
        "argv": (proc / "cmdline").read_bytes().decode("latin-1"),
        "environment": (proc / "environ").read_bytes().decode("latin-1"),
        "journal": "".join(one.read_bytes().decode("latin-1") for one in daemon.state.glob("journal.db*")),
    }
    told = {where: held_in(text, tuple(SECRETS.values())) for where, text in places.items()}
    assert {where: found for where, found in told.items() if found} == {}


def test_a_secret_others_may_read_is_refused_at_the_start(daemon: Daemon) -> None:
    daemon.kill()
    (daemon.folder / "mail.secret").chmod(0o644)
    done = CliRunner().invoke(cli, ["check", "--config", str(daemon.config)])
    assert done.exit_code != 0
    said = f"{done.output}{done.exception}"
    assert "mail.secret" in said
    assert not held_in(said, tuple(SECRETS.values()))


def test_a_parcel_is_listed_first_and_holds_no_secret_and_nobody(daemon: Daemon, tmp_path: Path) -> None:
    out = tmp_path / "parcel.zip"
    words = ["parcel", str(out), "--state", str(daemon.state)]
    said = CliRunner().invoke(cli, words, input="n\n")
    assert not out.exists()
    listed = set(re.findall(r"bytes  (\S+)", said.output))
    done = CliRunner().invoke(cli, [*words, "--yes"])
    assert done.exit_code == 0, done.output
    assert stat.S_IMODE(os.stat(out).st_mode) == 0o600
    with zipfile.ZipFile(out) as box:
        assert set(box.namelist()) == listed
        texts = {name: box.read(name).decode() for name in box.namelist()}
    planted = (*SECRETS.values(), *PEOPLE, SAID, "Plant-url-path", "mail-account", "Test farm", "127.0.0.1")
    assert {name: found for name, text in texts.items() if (found := held_in(text, planted))} == {}
    config = yaml.safe_load(texts["config.yaml"])
    assert config["spaces"]["tent"]["volume_m3"] == 9
    assert config["channels"] == ["mail", "webhook"]
    assert '"started"' in texts["events.jsonl"]
    assert "0 findings" in texts["chain.txt"]
    shown = CliRunner().invoke(cli, ["parcel", "--show", "--state", str(daemon.state)])
    assert not held_in(shown.output, planted)
