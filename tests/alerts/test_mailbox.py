"""Answers by mail, fetched from a real IMAP server over TLS. Mails: RFC 5322; auto-answers: RFC 3834."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gillhouse.alerts.channel import Incoming
from gillhouse.alerts.mailbox import MOST_BYTES, Mailbox, incoming
from gillhouse.core.edges import AnswerBox
from gillhouse.errors import ChannelError
from imap_server import ImapServer
from servers import certificate

PASSWORD = "k3ller-und-pilz"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ImapServer]:
    context, _ = certificate(tmp_path)
    one = ImapServer(context, PASSWORD)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def box(server: ImapServer, tmp_path: Path) -> AnswerBox:
    secret = tmp_path / "secret"
    secret.write_text(f"{PASSWORD}\n")
    secret.chmod(0o600)
    return AnswerBox(server.host, server.port, "box", str(secret), ca_file=str(tmp_path / "cert.pem"))


def mail(body: str, sender: str = "Ana <Ana@example.org>", more: str = "") -> bytes:
    head = f"From: {sender}\r\nTo: box@example.org\r\nSubject: Re: TENT DRY\r\n{more}"
    return f"{head}\r\n{body}\r\n".encode()


def fetched(box: AnswerBox) -> list[Incoming]:
    got: list[Incoming] = []
    Mailbox("post", box, 5_000).fetch(got.append)
    return got


def test_a_mail_is_looked_at_once_and_stays_where_it_is(server: ImapServer, box: AnswerBox) -> None:
    server.deliver(mail("ok 4711\r\n\r\n> TENT DRY 76% Reply OK 4711"))
    (one,) = fetched(box)
    assert (one.channel, one.sender) == ("post", "ana@example.org")
    assert one.body.splitlines()[0] == "ok 4711"
    assert fetched(box) == []
    assert server.unseen() == 0


def test_a_mail_counts_as_seen_only_after_it_was_taken(server: ImapServer, box: AnswerBox) -> None:
    server.deliver(mail("ok 4711"))

    def fails(came: Incoming) -> None:
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        Mailbox("post", box, 5_000).fetch(fails)
    assert len(fetched(box)) == 1


def test_asking_how_many_wait_touches_none(server: ImapServer, box: AnswerBox) -> None:
    server.deliver(mail("ok 4711"))
    assert [Mailbox("post", box, 5_000).waiting() for _ in range(2)] == [1, 1]
    assert len(fetched(box)) == 1
    assert Mailbox("post", box, 5_000).waiting() == 0


def test_a_flood_waits_its_turn(server: ImapServer, box: AnswerBox, monkeypatch: pytest.MonkeyPatch) -> None:
    """With five at a time: fifty mails through a real server would take long and prove no more."""
    monkeypatch.setattr("gillhouse.alerts.mailbox.MOST_AT_ONCE", 5)
    for number in range(7):
        server.deliver(mail(f"ok {number:04}"))
    assert [len(fetched(box)) for _ in range(3)] == [5, 2, 0]


def test_a_huge_mail_is_read_in_part(server: ImapServer, box: AnswerBox) -> None:
    server.deliver(mail("ok 4711\r\n" + "x" * 70 + ("\r\n" + "x" * 70) * 3_000))
    (one,) = fetched(box)
    assert one.body.startswith("ok 4711") and len(one.body) <= MOST_BYTES


def test_nothing_goes_to_a_server_that_cannot_prove_who_it_is(server: ImapServer, box: AnswerBox) -> None:
    with pytest.raises(ChannelError, match=r"(?i)certificate"):
        fetched(replace(box, ca_file=None))
    assert server.logins == 0


def test_a_wrong_password_a_missing_folder_and_a_server_away_say_so(
    server: ImapServer, box: AnswerBox, tmp_path: Path
) -> None:
    with pytest.raises(ChannelError, match="no folder 'Elsewhere'"):
        fetched(replace(box, folder="Elsewhere"))
    (tmp_path / "secret").write_text("n0t-the-passw0rd\n")
    with pytest.raises(ChannelError, match="cannot be read") as told:
        fetched(box)
    assert "n0t-the-passw0rd" not in str(told.value)
    server.stop()
    with pytest.raises(ChannelError, match="cannot be read"):
        fetched(box)


def test_a_mail_of_letters_and_pictures_gives_its_plain_words() -> None:
    raw = (
        b"From: ana@example.org\r\nMIME-Version: 1.0\r\n"
        b'Content-Type: multipart/alternative; boundary="b"\r\n\r\n'
        b"--b\r\nContent-Type: text/html\r\n\r\n<p>quiet 1111</p>\r\n"
        b"--b\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n\r\n"
        b"b2sgNDcxMQ==\r\n--b--\r\n"  # `printf 'ok 4711' | base64`
    )
    one = incoming("post", raw)
    assert one is not None and one.body.strip() == "ok 4711"


@pytest.mark.parametrize("more", ["Auto-Submitted: auto-replied\r\n", "Auto-Submitted: auto-generated\r\n"])
def test_what_a_machine_answers_is_no_answer(more: str) -> None:
    assert incoming("post", mail("ok 4711", more=more)) is None


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\xff\xfe\x00",
        b"From: \r\n\r\nok 4711",
        mail("ok 4711", "a@x.org, b@x.org"),
        b"From: a@x.org\r\nFrom: b@x.org\r\n\r\nok 4711",
    ],
)
def test_a_mail_from_nobody_or_from_two_is_no_answer(raw: bytes) -> None:
    assert incoming("post", raw) is None


@pytest.mark.parametrize(
    "raw",
    [
        b"From: a@x.org\r\nContent-Type: text/html\r\n\r\n<p>ok 4711</p>",
        b"From: a@x.org\r\nContent-Type: application/pdf\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!!",
    ],
)
def test_what_has_no_plain_words_has_none(raw: bytes) -> None:
    one = incoming("post", raw)
    assert one is not None and one.body == ""
