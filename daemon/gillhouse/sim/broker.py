"""The trial's broker: one from a wheel, in this process, on this machine alone, forgotten afterwards."""

import logging
import socket
from types import TracebackType
from typing import Any, Self

from gillhouse.sim.link import TrialError

HOST = "127.0.0.1"


def free_port() -> int:
    """A port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


class TrialBroker:
    """Runs while its `with` block does. Speaks MQTT 3.1.1; keeps nothing on disk."""

    def __init__(self) -> None:
        """
        Raises:
            TrialError: the package with the broker is not installed.
        """
        try:
            import iotcore
        except ImportError as error:
            raise TrialError(
                "the trial run brings its own broker in the package iotcore, which is not installed: "
                "pip install 'gillhouse[demo]'"
            ) from error
        logging.getLogger("iotcore").setLevel(logging.ERROR)
        self.port = free_port()
        # Its own default is every interface and no password.
        self._broker: Any = iotcore.Broker(port=self.port, listen=HOST)

    def __enter__(self) -> Self:
        self._broker.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._broker.stop()
