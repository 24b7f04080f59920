"""The mirror's far end, by influxdb-client in its synchronous mode: lines go out, and an answer comes back.

Not the client's batching mode: it keeps lines in memory and drops what it could not send. The client weighs
20 MB, so it is imported on the first write, where there is a mirror at all.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gillhouse.core.edges import MirrorSettings

if TYPE_CHECKING:
    from influxdb_client.client.influxdb_client import InfluxDBClient

_REFUSED = (400, 413, 422)
_WRONG_SETTINGS = {401: "token", 403: "token", 404: "url, org and bucket"}


class SendFailed(Exception):
    """Sending cannot go on now. `wait_ms`: how long the receiver asked us to wait, if it did."""

    def __init__(self, why: str, wait_ms: int | None = None) -> None:
        super().__init__(why)
        self.wait_ms = wait_ms


class Receiver:
    """One receiver of lines. For one thread."""

    def __init__(self, settings: MirrorSettings) -> None:
        self._settings = settings
        self._client: InfluxDBClient | None = None

    def write(self, lines: Sequence[str]) -> tuple[int | None, str]:
        """(None, "") when the receiver took them, (status, its words) when it refuses what is in them.

        Raises SendFailed for everything that has nothing to do with the lines.
        """
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        settings = self._settings
        try:
            api = self._ready().write_api(write_options=_synchronous())
            # The default precision is nanoseconds, and the points would lie in January 1970.
            milliseconds: Any = WritePrecision.MS  # its constants are plain text
            api.write(settings.bucket, settings.org, lines, write_precision=milliseconds)
        except ApiException as error:
            if error.status in _REFUSED:
                return error.status, _words(error.body)
            wrong = _WRONG_SETTINGS.get(error.status)
            hint = f": check the {wrong} of the mirror" if wrong else ""
            raise SendFailed(
                f"answers {error.status} {error.reason}{hint}", _retry_after_ms(error.headers)
            ) from error
        except (HTTPError, OSError) as error:
            raise SendFailed(f"cannot be reached: {error}"[:300]) from error
        return None, ""

    def _ready(self) -> "InfluxDBClient":
        if self._client is None:
            from influxdb_client.client.influxdb_client import InfluxDBClient

            settings = self._settings
            token = Path(settings.token_file).read_text().strip() if settings.token_file else "none"
            self._client = InfluxDBClient(
                settings.url, token=token, org=settings.org, timeout=settings.timeout_ms
            )
        return self._client

    def drop(self) -> None:
        """Closes the connection; the next write opens one and reads the token again."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]
            self._client = None


def _synchronous() -> object:
    from influxdb_client.client.write_api import SYNCHRONOUS

    return SYNCHRONOUS


def _words(body: bytes | str | None) -> str:
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else body or ""
    return " ".join(text.split())


def _retry_after_ms(headers: Mapping[str, str] | None) -> int | None:
    """The receiver's `Retry-After` (RFC 9110, 10.2.3) where it gives seconds; at most an hour."""
    seconds = (headers or {}).get("Retry-After", "")
    return min(int(seconds), 3_600) * 1_000 if seconds.isdigit() else None
