"""The link against Debian's mosquitto, with `mosquitto_pub` as the board."""

from mqtt.linked import Linked, publish
from servers import MosquittoBroker, wait_until


def test_hands_over_what_a_board_sends(broker: MosquittoBroker) -> None:
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        publish(broker.port, "room/t", "21.5")
        wait_until(lambda: linked.messages, what="the message")
        message, synced = linked.messages[0]
        assert (message.topic, message.payload, message.retain, synced) == ("room/t", b"21.5", False, True)
        assert linked.link.received == 1
        assert linked.states == [(True, f"127.0.0.1:{broker.port}, MQTT 5")]
