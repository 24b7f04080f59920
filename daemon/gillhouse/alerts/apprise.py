"""Any service the library apprise reaches (extra `apprise`), by the one address it knows a service by.

That address holds the service's passwords, so it stands in a file only its owner may read. The library takes
half a second and 37 MB to load, so it is loaded with the first message. It writes addresses into its log, and
so does what it sends with: those logs are closed. It does not say why something was not taken.
"""

import logging

from gillhouse.alerts.channel import Message, heard
from gillhouse.alerts.secret import read_secret
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError

CLOSED_LOGS = ("apprise", "urllib3", "requests")
"""Logs that repeat addresses whole. Found by reading them at the level DEBUG (apprise 2.3)."""


class AppriseChannel:
    """Hands each message to one service."""

    def __init__(self, settings: ChannelSettings) -> None:
        self.id = settings.id
        self._url_file = str(settings.url_file)

    def send(self, message: Message) -> str:
        address = read_secret(self._url_file, self.id)
        try:
            import apprise
        except ImportError:
            raise ChannelError(
                f"channel {self.id}: the extra is missing; run: pip install 'gillhouse[apprise]'"
            ) from None
        for name in CLOSED_LOGS:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        service = apprise.Apprise()
        if not service.add(address):
            raise ChannelError(
                f"channel {self.id}: apprise knows no service by the address in {self._url_file}; correct it"
            )
        kind = apprise.NotifyType.WARNING if message.priority else apprise.NotifyType.INFO
        result = service.notify(
            body=message.text,
            title=heard(message.subject),
            notify_type=kind,
            body_format=apprise.NotifyFormat.TEXT,
        )
        name = heard(str(service[0].service_name), address)
        if not result:
            raise ChannelError(
                f"channel {self.id}: the service ({name}) did not take it, and apprise does not say why; is"
                " its address still good, and is there a network?"
            )
        return f"the service ({name}) took it"
