"""Mail by SMTP (RFC 5321), with TLS from the start or by STARTTLS (RFC 8314 prefers the first).

The link is opened for each message and closed after it: alarms are rare, and a kept link would have died.
"""

import smtplib
import ssl
from contextlib import suppress
from datetime import UTC
from email.message import EmailMessage
from email.utils import format_datetime

from gillhouse.alerts.channel import Message, Refused, heard
from gillhouse.alerts.secret import read_secret
from gillhouse.core.edges import ChannelSettings
from gillhouse.core.schedule import local
from gillhouse.errors import ChannelError

PERMANENT = range(500, 600)
"""Reply codes by which a server says never. Source: RFC 5321 4.2.1."""

OUR_NAME = "[127.0.0.1]"
"""What we call ourselves: an address, as RFC 5321 4.1.3 lets a host without a name. Left to itself, smtplib
asks the name service who we are, for as long as that takes, and tells the server."""


class MailChannel:
    """Sends each message as one mail to one address."""

    def __init__(self, settings: ChannelSettings) -> None:
        self.id = settings.id
        self._settings = settings

    def send(self, message: Message) -> str:
        secret = ""
        if self._settings.password_file is not None:
            secret = read_secret(self._settings.password_file, self.id)
        try:
            self._hand_over(self._mail(message), secret)
        except smtplib.SMTPRecipientsRefused as error:
            code, said = next(iter(error.recipients.values()))
            raise self._said_no(code, said, secret) from None
        except (smtplib.SMTPSenderRefused, smtplib.SMTPDataError) as error:
            raise self._said_no(error.smtp_code, error.smtp_error, secret) from None
        except smtplib.SMTPAuthenticationError as error:
            words = heard(error.smtp_error, secret)
            raise ChannelError(
                f"channel {self.id}: {self._where} did not take the name and password ({words}); correct them"
            ) from None
        except (smtplib.SMTPException, OSError, ValueError) as error:
            words = heard(str(error), secret)
            raise ChannelError(f"channel {self.id}: no mail through {self._where}: {words}") from None
        return f"{self._where} took the mail"

    def _hand_over(self, mail: EmailMessage, secret: str) -> None:
        link = self._link()
        try:
            if self._settings.username is not None:
                link.login(self._settings.username, secret)
            link.send_message(mail)
            # Taken. Whatever goes wrong while parting, a second attempt would be a second mail.
            with suppress(smtplib.SMTPException, OSError):
                link.quit()
        finally:
            link.close()

    @property
    def _where(self) -> str:
        return f"{self._settings.host}:{self._settings.port}"

    def _link(self) -> smtplib.SMTP:
        """An open link, encrypted as the settings say; never less."""
        host, port, security = self._settings.host, self._settings.port, self._settings.security
        timeout_s = self._settings.timeout_ms / 1_000
        if security == "off":
            return smtplib.SMTP(host, port, OUR_NAME, timeout_s)
        context = ssl.create_default_context(cafile=self._settings.ca_file)
        if security == "tls":
            return smtplib.SMTP_SSL(host, port, OUR_NAME, timeout=timeout_s, context=context)
        link = smtplib.SMTP(host, port, OUR_NAME, timeout_s)
        try:
            link.starttls(context=context)  # raises where the server offers none: nothing goes in the clear
        except BaseException:
            link.close()
            raise
        return link

    def _said_no(self, code: int, said: str | bytes, secret: str) -> ChannelError:
        words = f"channel {self.id}: {self._where} answered {code} {heard(said, secret)}"
        return Refused(words) if code in PERMANENT else ChannelError(words)

    def _mail(self, message: Message) -> EmailMessage:
        mail = EmailMessage()
        mail["From"], mail["To"] = self._settings.sender, message.to
        mail["Subject"] = heard(message.subject)  # one line: a line break would begin a header of its own
        mail["Date"] = format_datetime(local(message.at_ms, UTC))
        mail["Message-ID"] = f"<{message.id}@gillhouse.invalid>"  # RFC 2606: a name that is nobody's
        mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday notes in return
        if message.priority == 1:
            mail["Importance"] = "high"  # RFC 2156 by way of RFC 4021
        mail.set_content(message.text)
        for one in message.attachments:
            kind, _, form = one.media_type.partition("/")
            mail.add_attachment(one.data, maintype=kind, subtype=form, filename=one.name)
        return mail
