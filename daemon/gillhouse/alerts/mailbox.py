"""Answers by mail: looks into a mailbox over IMAP, always with TLS (RFC 9051; RFC 8314, 3.2).

The link goes outwards only, is opened for each look and closed after it. Mails stay where they are and are
marked as seen once they were looked at; nobody else should read that mailbox, since a mail that is seen is
not looked at again. Not here: what an answer means (`replies`), and whether it counts (`codes`).
"""

import email
import email.policy
import imaplib
import ssl
from collections.abc import Callable
from contextlib import suppress
from email.message import EmailMessage
from email.utils import getaddresses

from gillhouse.alerts.channel import Incoming, heard
from gillhouse.alerts.secret import read_secret
from gillhouse.core.edges import AnswerBox
from gillhouse.errors import ChannelError

MOST_BYTES = 65_536
"""Read of one mail; an answer is a line."""

MOST_AT_ONCE = 50
"""Mails looked at in one go; the rest wait for the next."""


class Mailbox:
    """The mailbox of one mail channel."""

    def __init__(self, channel: str, settings: AnswerBox, timeout_ms: int) -> None:
        self.id = channel
        self._settings = settings
        self._timeout_s = timeout_ms / 1_000

    @property
    def look_every_ms(self) -> int:
        return self._settings.every_ms

    def fetch(self, take: Callable[[Incoming], object]) -> int:
        """Hands every mail not seen yet to `take`, and marks it as seen after. Returns how many.

        Raises:
            ChannelError: the mailbox could not be looked into now.
        """
        return self._within(lambda link: self._look(link, take))

    def waiting(self) -> int:
        """How many mails nobody has looked at; none of them is touched.

        Raises:
            ChannelError: the mailbox could not be looked into now.
        """
        return self._within(lambda link: len(_unseen(link)))

    def _within(self, do: Callable[[imaplib.IMAP4_SSL], int]) -> int:
        secret = read_secret(self._settings.password_file, self.id)
        where = f"{self._settings.host}:{self._settings.port}"
        try:
            link = self._link()
            try:
                self._enter(link, secret)
                return do(link)
            finally:
                with suppress(imaplib.IMAP4.error, OSError):
                    link.logout()
        except (imaplib.IMAP4.error, OSError, ValueError) as error:
            words = heard(str(error), secret, self._settings.username)
            raise ChannelError(f"channel {self.id}: answers at {where} cannot be read: {words}") from None

    def _link(self) -> imaplib.IMAP4_SSL:
        context = ssl.create_default_context(cafile=self._settings.ca_file)
        return imaplib.IMAP4_SSL(
            self._settings.host, self._settings.port, ssl_context=context, timeout=self._timeout_s
        )

    def _enter(self, link: imaplib.IMAP4_SSL, secret: str) -> None:
        link.login(self._settings.username, secret)
        folder = self._settings.folder.replace("\\", "\\\\").replace('"', '\\"')
        state, told = link.select(f'"{folder}"')
        if state != "OK":
            raise ValueError(f"no folder {self._settings.folder!r} ({heard(told[0] or b'')})")

    def _look(self, link: imaplib.IMAP4_SSL, take: Callable[[Incoming], object]) -> int:
        numbers = _unseen(link)[:MOST_AT_ONCE]
        for number in numbers:
            _, parts = link.uid("FETCH", number.decode("ascii"), f"(BODY.PEEK[]<0.{MOST_BYTES}>)")
            raw = next((part[1] for part in parts if isinstance(part, tuple)), b"")
            answer = incoming(self.id, raw)
            if answer is not None:
                take(answer)
            link.uid("STORE", number.decode("ascii"), "+FLAGS.SILENT", "(\\Seen)")
        return len(numbers)


def _unseen(link: imaplib.IMAP4_SSL) -> list[bytes]:
    _, found = link.uid("SEARCH", "UNSEEN")
    return (found[0] or b"").split()


def incoming(channel: str, raw: bytes) -> Incoming | None:
    """Who a mail says it is from, and its plain words; None: nobody, or a machine (RFC 3834)."""
    mail = email.message_from_bytes(raw, policy=email.policy.default)
    if str(mail.get("Auto-Submitted", "no")).strip().lower() != "no":
        return None
    senders = [address for _, address in getaddresses([str(one) for one in mail.get_all("From", [])])]
    if len(senders) != 1:
        return None
    return Incoming(channel, senders[0].casefold(), _words(mail))


def _words(mail: EmailMessage) -> str:
    """Its plain text; none where it has none or says what cannot be decoded."""
    body = mail.get_body(("plain",))
    if body is None:
        return ""
    try:
        return str(body.get_content())
    except (LookupError, ValueError, AttributeError):  # an alphabet nobody knows, or a body that is no text
        return ""
