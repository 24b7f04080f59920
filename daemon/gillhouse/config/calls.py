"""A sound draft -> who is called when (`core.settings.CallSettings`), and the sign of life sent outwards."""

from pathlib import Path

from gillhouse.config.draft import Draft
from gillhouse.config.edges import beside
from gillhouse.core.edges import AlertSettings, HeartbeatSettings
from gillhouse.core.settings import CallSettings


def calling(draft: Draft, alerts: AlertSettings) -> CallSettings:
    given = draft.calls
    return CallSettings(
        people=alerts.people,
        rota=alerts.rota,
        night_calls=given.at_night,
        most_per_h=given.an_hour,
        night_from_min=given.night.start,
        night_to_min=given.night.end,
        digest_min=given.digest_at,
        weekly_on=given.weekly_on,
    )


def heartbeat(draft: Draft, folder: Path) -> HeartbeatSettings | None:
    given = draft.heartbeat
    if given is None:
        return None
    return HeartbeatSettings(
        url=given.url or "",
        method=given.method,
        topic=given.topic or "",
        token_file=beside(folder, given.token_file),
        ca_file=beside(folder, given.ca_file),
        every_ms=given.every,
        timeout_ms=given.timeout,
    )
