"""`gillhouse try-alert` against a real mail receiver, HTTP receiver and broker."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from gillhouse.commands.try_alert import command
from gillhouse.config import shipped_dir
from servers import HttpReceiver, MosquittoBroker, SmtpServer

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
