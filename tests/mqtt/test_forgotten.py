"""Whether the broker kept our place, by its own word. MQTT 3.1.1 and 5, section 3.2.2: session present."""

import pytest

from mqtt.linked import Linked
from servers import MosquittoBroker, wait_until


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_new_broker_has_no_place_for_us_and_then_keeps_it(broker: MosquittoBroker, protocol: str) -> None:
    with Linked(broker.port, "t/a", protocol=protocol, client_id=f"kept-{protocol}") as first:
        first.synced()
        assert first.link.forgotten
        assert first.link.unheard_ms is None
    with Linked(broker.port, "t/a", protocol=protocol, client_id=f"kept-{protocol}") as again:
        again.synced()
        assert not again.link.forgotten


def test_a_broker_that_lost_its_state_has_forgotten_us(broker: MosquittoBroker) -> None:
    with Linked(broker.port, "t/a", client_id="lost") as linked:
        linked.synced()
        broker.restart()  # this one keeps nothing
        wait_until(lambda: len(linked.states) >= 3 and linked.link.synced, 20, "the link to be back")
        assert linked.link.forgotten
        assert linked.link.unheard_ms is not None and linked.link.unheard_ms < 30_000
