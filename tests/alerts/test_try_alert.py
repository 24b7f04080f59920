"""`gillhouse try-alert` against a real mail receiver, HTTP receiver and broker."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from gillhouse.commands.try_alert import command
from gillhouse.config import shipped_dir
from imap_server import ImapServer
from pty_modem import PtyModem
from servers import HttpReceiver, MosquittoBroker, SmtpServer, certificate

WAYS_OUT = """
channels:
  post: {{kind: mail, host: {smtp.host}, port: {smtp.port}, security: off, sender: box@farm.invalid}}
  hook: {{kind: webhook, url: "{http.url}"}}
  bus: {{kind: mqtt, topic: "farm/alerts/{{person}}"}}
  spare: {{kind: memory}}
people:
  helper-1: {{name: Helper 1, reach: [{{channel: post, to: one@farm.invalid}}, {{channel: hook}}]}}
  helper-2: {{name: Helper 2, reach: [{{channel: post, to: two@farm.invalid}}, {{channel: bus}}]}}
"""


TEXTS = """
channels:
  text: {kind: sms, device: DEVICE, timeout: 5 s}
people:
  ana: {name: Ana, phone: "+44 7700 900123", reach: [{channel: text}]}
"""

ANSWERED = """
channels:
  post:
    kind: mail
    host: {smtp.host}
    port: {smtp.port}
    security: off
    sender: box@farm.invalid
    answers:
      {{host: {imap.host}, port: {imap.port}, username: box, password_file: secret, ca_file: "{ca}"}}
people:
  ana: {{name: Ana, reach: [{{channel: post, to: one@farm.invalid}}]}}
"""


@pytest.fixture
def farm(
    tmp_path: Path, smtp_server: SmtpServer, http_receiver: HttpReceiver, broker: MosquittoBroker
) -> Path:
    """The shipped farm with four channels, three of them to this test's servers."""
    shipped = (shipped_dir() / "farm.yaml").read_text()
    shipped = shipped[: shipped.index("\nchannels:")].replace("port: 1883", f"port: {broker.port}")
    path = tmp_path / "farm.yaml"
    path.write_text(shipped + WAYS_OUT.format(smtp=smtp_server, http=http_receiver))
    return path


def run(path: Path, *more: str) -> Result:
    return CliRunner().invoke(command, ["--config", str(path), *more])


def test_everybody_gets_one_on_every_channel(
    farm: Path, smtp_server: SmtpServer, http_receiver: HttpReceiver
) -> None:
    result = run(farm)
    assert [one.recipients for one in smtp_server.messages] == [("one@farm.invalid",), ("two@farm.invalid",)]
    assert smtp_server.messages[0].text.startswith("TEST from ")
    assert len(smtp_server.messages[0].text) <= 160
    assert [one.json()["person"] for one in http_receiver.requests] == ["helper-1"]  # type: ignore[index]
    assert "hook, helper-1: 127.0.0.1 answered 204" in result.output
    assert "bus, helper-2: handed to the broker for farm/alerts/helper-2" in result.output
    assert "spare: nobody is reached by it" in result.output
    assert result.exit_code == 1, "one channel reaches nobody"


def test_one_channel_alone(farm: Path, smtp_server: SmtpServer, http_receiver: HttpReceiver) -> None:
    result = run(farm, "--channel", "hook")
    assert (result.exit_code, len(http_receiver.requests), smtp_server.messages) == (0, 1, [])


def test_a_channel_that_says_no_is_told_and_fails(farm: Path, smtp_server: SmtpServer) -> None:
    smtp_server.refuse = "451 try later"
    result = run(farm, "--channel", "post")
    assert result.exit_code == 1
    assert "post, helper-1: NOT SENT" in result.output
    assert "451 try later" in result.output
    assert smtp_server.attempts == 2, "the second person is tried all the same, each once"


def test_an_unknown_channel_names_those_there_are(farm: Path) -> None:
    result = run(farm, "--channel", "fax")
    assert result.exit_code == 1
    assert "no channel 'fax'; it has post, hook, bus, spare" in result.output


def test_no_channel_at_all_is_said(farm: Path) -> None:
    text = farm.read_text()
    farm.write_text(text[: text.index("\nchannels:")])
    result = run(farm)
    assert result.exit_code == 1
    assert "names no channel" in result.output


def test_a_text_goes_out_beside_a_running_daemon_and_the_signal_is_told(tmp_path: Path) -> None:
    """The daemon holds the modem for a dialogue at a time, as another process holds it here for a moment."""
    modem = PtyModem()
    modem.start()
    try:
        shipped = (shipped_dir() / "farm.yaml").read_text()
        path = tmp_path / "farm.yaml"
        path.write_text(shipped[: shipped.index("\nchannels:")] + TEXTS.replace("DEVICE", modem.device))
        result = run(path)
        assert result.exit_code == 0, result.output
        assert "text, ana: the network took the text (at home, signal -79 dBm, 17 of 31)" in result.output
        assert "text: rings at night" in result.output
        ((number, said),) = modem.sent
        assert number == "+447700900123" and said.startswith("TEST from ") and len(said) <= 160
    finally:
        modem.stop()


def test_whether_answers_can_be_fetched_is_told(tmp_path: Path, smtp_server: SmtpServer) -> None:
    context, authority = certificate(tmp_path)
    server = ImapServer(context, "pw-of-the-box")
    server.start()
    (tmp_path / "secret").write_text("pw-of-the-box\n")
    (tmp_path / "secret").chmod(0o600)
    try:
        shipped = (shipped_dir() / "farm.yaml").read_text()
        path = tmp_path / "farm.yaml"
        ways = ANSWERED.format(smtp=smtp_server, imap=server, ca=authority)
        path.write_text(shipped[: shipped.index("\nchannels:")] + ways)
        result = run(path)
        assert result.exit_code == 0, result.output
        assert "post: answers can be fetched, 0 not looked at" in result.output
        assert "post: does not ring at night" in result.output
        (tmp_path / "secret").write_text("wrong\n")
        failed = run(path)
        assert failed.exit_code == 1 and "ANSWERS CANNOT BE FETCHED" in failed.output
    finally:
        server.stop()
