"""Messages as JSON on a topic of the grower's own. The link to the broker is the service's."""

import json
from collections.abc import Callable

from gillhouse.alerts.channel import Message, as_plain
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError

Publish = Callable[[str, bytes], bool]
"""Hands (topic, payload) to the broker with QoS 1, not retained; False: it could not be handed over now."""


class MqttChannel:
    """Publishes each message once it can; `{person}` in the topic becomes the person's id."""

    def __init__(self, settings: ChannelSettings, publish: Publish) -> None:
        self.id = settings.id
        self._topic = settings.topic
        self._publish = publish

    def send(self, message: Message) -> str:
        topic = self._topic.replace("{person}", message.person)
        if not self._publish(topic, json.dumps(as_plain(message)).encode()):
            raise ChannelError(f"channel {self.id}: the broker cannot be reached; is it running?")
        return f"handed to the broker for {topic}"
