"""Messages as JSON by HTTP POST. Any 2xx answer is a yes.

A redirect is a no: following one would turn the POST into a GET, or carry the token to another host.
"""

import http.client
import json
import ssl
import urllib.error
import urllib.request
from email.message import Message as Headers
from typing import IO
from urllib.parse import urlsplit

from gillhouse import __version__
from gillhouse.alerts.channel import Message, Refused, as_plain, heard
from gillhouse.alerts.secret import read_secret
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError

NEVER = frozenset({400, 405, 406, 410, 411, 413, 414, 415, 422})
"""Answers that blame the message itself, so that trying it again cannot help. Source: RFC 9110 15.5."""


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(  # six arguments: the standard library's
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: Headers, newurl: str
    ) -> None:
        return None


class WebhookChannel:
    """Posts each message to one address. The address may hold a secret: only its host is ever named."""

    def __init__(self, settings: ChannelSettings) -> None:
        self.id = settings.id
        self._settings = settings
        address = urlsplit(settings.url)
        self._where = address.hostname or "(no host)"
        self._secret_part = settings.url.partition(address.netloc)[2]

    def send(self, message: Message) -> str:
        token = ""
        headers = {"Content-Type": "application/json", "User-Agent": f"gillhouse/{__version__}"}
        if self._settings.token_file is not None:
            token = read_secret(self._settings.token_file, self.id)
            headers["Authorization"] = f"Bearer {token}"
        hidden = (token, self._settings.url, self._secret_part)
        try:
            body = json.dumps(as_plain(message)).encode()
            request = urllib.request.Request(self._settings.url, body, headers, method="POST")
            with self._opener().open(request, timeout=self._settings.timeout_ms / 1_000) as answer:
                return f"{self._where} answered {answer.status}"
        except urllib.error.HTTPError as error:
            with error:
                raise self._said_no(error.code) from None
        except urllib.error.URLError as error:
            said = heard(str(error.reason), *hidden)
            raise ChannelError(f"channel {self.id}: {self._where} cannot be reached: {said}") from None
        except (OSError, http.client.HTTPException, ValueError) as error:
            said = heard(str(error) or type(error).__name__, *hidden)
            raise ChannelError(f"channel {self.id}: {self._where} gave no answer: {said}") from None

    def _opener(self) -> urllib.request.OpenerDirector:
        context = ssl.create_default_context(cafile=self._settings.ca_file)
        return urllib.request.build_opener(_NoRedirect, urllib.request.HTTPSHandler(context=context))

    def _said_no(self, code: int) -> ChannelError:
        words = f"channel {self.id}: {self._where} answered {code}"
        if code in NEVER:
            return Refused(words)
        if 300 <= code < 400:
            return ChannelError(f"{words}, which sends us elsewhere; write the final address in the config")
        return ChannelError(words)
