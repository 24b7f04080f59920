"""The servers of `servers` are what they say: real, on loopback, and able to fail on demand."""

import json
import smtplib
import subprocess
import urllib.error
import urllib.request

import pytest

from servers import HttpReceiver, MosquittoBroker, SmtpServer, listening, program, wait_until


def send(broker: MosquittoBroker, *words: str) -> None:
    subprocess.run(
        [program("mosquitto_pub", "mosquitto-clients"), "-h", broker.host, "-p", str(broker.port), *words],
        check=True,
    )


def one(broker: MosquittoBroker, topic: str) -> str:
    """The next message of `topic`, by mosquitto's own client."""
    found = subprocess.run(
        [
            program("mosquitto_sub", "mosquitto-clients"),
            "-h",
            broker.host,
            "-p",
            str(broker.port),
            "-t",
            topic,
            "-C",
            "1",
            "-W",
            "5",
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    return found.stdout.strip()


def test_the_broker_carries_a_message(broker: MosquittoBroker) -> None:
    send(broker, "-t", "a/b", "-m", "85.3", "-r")
    assert one(broker, "a/b") == "85.3"


def test_the_persistent_broker_keeps_retained_messages_over_a_restart(
    persistent_broker: MosquittoBroker,
) -> None:
    send(persistent_broker, "-t", "a/b", "-m", "kept", "-r", "-q", "1")
    persistent_broker.restart()
    assert one(persistent_broker, "a/b") == "kept"


def test_a_stopped_or_killed_broker_is_gone_and_comes_back(broker: MosquittoBroker) -> None:
    for end in (broker.stop, broker.kill):
        end()
        assert not listening(broker.host, broker.port)
        broker.start()
        assert listening(broker.host, broker.port)


def test_the_mail_receiver_takes_and_refuses(smtp_server: SmtpServer) -> None:
    with smtplib.SMTP(smtp_server.host, smtp_server.port, timeout=5) as link:
        link.sendmail("box@farm.invalid", ["a@farm.invalid"], "Subject: hello\n\nbody")
        smtp_server.refuse = "451 try later"
        with pytest.raises(smtplib.SMTPDataError) as told:
            link.sendmail("box@farm.invalid", ["a@farm.invalid"], "Subject: again\n\nbody")
    assert told.value.smtp_code == 451  # RFC 5321 4.2.2: local error in processing
    assert [(mail.subject, mail.text) for mail in smtp_server.messages] == [("hello", "body")]
    assert smtp_server.attempts == 2


def test_the_http_receiver_keeps_requests_and_answers_as_told(http_receiver: HttpReceiver) -> None:
    ask = urllib.request.Request(http_receiver.url, json.dumps({"a": 1}).encode(), method="POST")
    with urllib.request.urlopen(ask, timeout=5) as answer:
        assert answer.status == 204
    http_receiver.status = 503
    with pytest.raises(urllib.error.HTTPError) as told:
        urllib.request.urlopen(ask, timeout=5)
    assert told.value.code == 503
    told.value.close()
    assert [request.json() for request in http_receiver.requests] == [{"a": 1}, {"a": 1}]


def test_waiting_says_what_it_waited_for() -> None:
    with pytest.raises(AssertionError, match=r"waited 0\.01 s for rain"):
        wait_until(list, 0.01, "rain")


def test_a_missing_program_is_a_failure_that_says_what_to_install() -> None:
    with pytest.raises(AssertionError, match="apt-get install some-package"):
        program("no-such-program-here", "some-package")
