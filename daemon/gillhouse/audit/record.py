"""A night as JSON, for other programs. The keys are a promise, kept in docs/reference/night-json.md.

Here: names, order and rounding, nothing else. The same night gives the same bytes: order is the farm's own
(spaces, relays, sensors as in the config) or by time, numbers are rounded as `_ROUND` says, times are
ISO 8601 to the second with the farm's offset at that moment.
"""

import json
from datetime import UTC, datetime, tzinfo
from typing import Any

from gillhouse.audit import mains, runs
from gillhouse.audit.alarm_words import as_plain
from gillhouse.audit.corrections import Since
from gillhouse.audit.figures import litres
from gillhouse.audit.hold import MS_PER_H
from gillhouse.audit.night import (
    AlarmNight,
    Away,
    ClockUnset,
    Coming,
    Happened,
    MainsOff,
    Night,
    NoteNight,
    Outside,
    QuantityNight,
    RelayNight,
    SensorNight,
    SpaceNight,
)
from gillhouse.audit.sensor_findings import FindingNight
from gillhouse.audit.wording import reason_words
from gillhouse.core.quantities import MEASURES

FORMAT = 1
"""Raised when a key changes its meaning or goes; new keys do not raise it."""

HOURS = 4
"""Decimals of hours and deficits: 0.0001 h is 0.36 s."""
PERCENT = 2
VALUE = 3
SLOPE = 6


def iso(ms: int, zone: tzinfo) -> str:
    """Wall milliseconds as ISO 8601, to the second, with the zone's offset at that moment."""
    return datetime.fromtimestamp(ms // 1000, UTC).astimezone(zone).isoformat()


def as_json(night: Night) -> str:
    return json.dumps(record(night), indent=2, ensure_ascii=False) + "\n"


def record(night: Night) -> dict[str, Any]:
    """The night as plain JSON values."""
    zone = night.window.zone
    return {
        "format": FORMAT,
        "farm": night.farm,
        "simulated": night.simulated,
        "zone": str(zone),
        "from": iso(night.window.from_ms, zone),
        "to": iso(night.window.to_ms, zone),
        "asked_to": iso(night.asked_to_ms, zone),
        "complete": night.complete,
        "log_begins": None if night.log_begins_ms is None else iso(night.log_begins_ms, zone),
        "log_ends": None if night.log_ends_ms is None else iso(night.log_ends_ms, zone),
        "removed_before": None if night.removed_before_ms is None else iso(night.removed_before_ms, zone),
        "configs": list(night.configs),
        "nights": [_space(night, space) for space in night.spaces],
        "shared": {
            "relays": [_relay(relay, zone) for relay in night.relays],
            "alarms": [_alarm(alarm, zone) for alarm in night.alarms],
            "notes": [_note(note, zone) for note in night.notes],
            "sensors": [_sensor(sensor, night) for sensor in night.sensors],
        },
        "away": [_away(away, zone) for away in night.away],
        "forgotten": [_span(one.from_ms, one.to_ms, zone) for one in night.forgotten],
        "mains_off": [_mains_off(night, one) for one in night.mains],
        "clock_unset": [_unset(one, zone) for one in night.clock_unset],
        "rejects": dict(night.rejects),
        "alarm_system": None if night.alarm_system is None else as_plain(night.alarm_system),
        "coming": [_coming(one, zone) for one in night.coming],
        "ahead": [{"space": one.space, "words": one.words, "source": one.source} for one in night.ahead],
        "findings": [_finding(one, zone) for one in night.findings],
    }


def _coming(one: Coming, zone: tzinfo) -> dict[str, Any]:
    return {
        "batch": one.batch,
        "space": one.space,
        "stage": one.stage.value,
        "next": one.next.value,
        "from": iso(one.from_ms, zone),
        "planned": one.planned,
    }


def _space(night: Night, space: SpaceNight) -> dict[str, Any]:
    zone = night.window.zone
    settings = space.space
    return {
        "space": settings.id,
        "name": settings.name,
        "from": iso(night.window.from_ms, zone),
        "to": iso(night.window.to_ms, zone),
        "kind": settings.kind.value,
        "species": settings.species,
        "stage": settings.stage.value,
        "quantities": {
            quantity.value: _quantity(figures, night) for quantity, figures in space.quantities.items()
        },
        "relays": [_relay(relay, zone) for relay in space.relays],
        "shared_relays": list(space.shared),
        "alarms": [_alarm(alarm, zone) for alarm in space.alarms],
        "notes": [_note(note, zone) for note in space.notes],
        "happened": [_happened(one, zone) for one in space.happened],
        "out_of_use": [_span(begin, end, zone) for begin, end in space.out_of_use],
        "own_reach": None if space.reach is None else list(space.reach),
        "sensors": [_sensor(sensor, night) for sensor in space.sensors],
    }


def _quantity(one: QuantityNight, night: Night) -> dict[str, Any]:
    tally, zone = one.tally, night.window.zone
    known = tally.covered_ms > 0
    return {
        "unit": MEASURES[one.quantity].unit,
        "measured": one.measured,
        "sure_to": one.sure_to,
        "wished": one.wished,
        "low": one.limits[-1].low,
        "high": one.limits[-1].high,
        "limits": [
            {
                "from": iso(limit.from_ms, zone),
                "to": iso(limit.to_ms, zone),
                "low": limit.low,
                "high": limit.high,
            }
            for limit in one.limits
        ],
        "samples": one.samples,
        "late_samples": one.late_samples,
        "coverage_pct": _share(tally.covered_ms, night.window.lasts_ms - one.out_ms),
        "covered_h": _hours(tally.covered_ms),
        "late_h": _hours(tally.late_ms),
        "min": _value(tally.least),
        "max": _value(tally.most),
        "mean": _value(tally.mean),
        "in_band_pct": _share(tally.inside_ms, tally.covered_ms) if known else None,
        "in_band_h": _hours(tally.inside_ms),
        "below_h": _hours(tally.below_ms),
        "above_h": _hours(tally.above_ms),
        "deficit_h": _hours(tally.deficit_below + tally.deficit_above),
        "deficit_below_h": _hours(tally.deficit_below),
        "deficit_above_h": _hours(tally.deficit_above),
        "gaps": [_span(begin, end, zone) for begin, end in one.holes],
        "excursions": [_outside(outside, zone) for outside in one.outside],
    }


def _outside(one: Outside, zone: tzinfo) -> dict[str, Any]:
    stretch = one.stretch
    return {
        "side": stretch.side.value,
        "start": iso(stretch.from_ms, zone),
        "end": iso(stretch.to_ms, zone),
        "end_known": stretch.end_known,
        "limit": stretch.limit,
        "worst": _value(stretch.worst),
        "worst_at": iso(stretch.worst_ms, zone),
        "outside_h": _hours(stretch.outside_ms),
        "deficit_h": _hours(stretch.deficit),
        "cause": one.cause,
        "reason": one.words,
    }


def _relay(one: RelayNight, zone: tzinfo) -> dict[str, Any]:
    relay = one.relay
    return {
        "id": relay.id,
        "role": relay.role.value,
        "starts": one.driven_starts,
        "switchings": one.driven_starts + runs.ended(one.driven),
        "on_s": _seconds(runs.on_ms(one.driven)),
        "litres": round(litres(relay, one.driven), VALUE),
        "runs": [_run(run, zone) for run in one.driven],
        "advise_only": relay.advise_only,
        "advised": {
            "starts": one.advised_starts,
            "switchings": one.advised_starts + runs.ended(one.advised),
            "on_s": _seconds(runs.on_ms(one.advised)),
            "litres": round(litres(relay, one.advised), VALUE),
            "runs": [_run(run, zone) for run in one.advised],
        },
        "held_back": dict(one.held_back),
    }


def _run(run: runs.Run, zone: tzinfo) -> dict[str, Any]:
    return {
        **_span(run.from_ms, run.to_ms, zone),
        "reason": run.began.command.reason.value,
        "ended": run.end.value,
        "command_seq": run.began.seq,
    }


def _alarm(one: AlarmNight, zone: tzinfo) -> dict[str, Any]:
    answered = one.acknowledged_ms
    return {
        "alarm": one.alarm,
        "kind": one.kind,
        "occurrence": one.occurrence,
        "space": one.space,
        "priority": one.priority,
        "start": iso(one.began_ms, zone),
        "end": None if one.ended_ms is None else iso(one.ended_ms, zone),
        "acknowledged": None if answered is None else iso(answered, zone),
        "acknowledged_after_s": None if answered is None else _seconds(answered - one.began_ms),
        "who": one.who or None,
        "announced": one.announced,
        "facts": dict(one.facts),
    }


def _note(one: NoteNight, zone: tzinfo) -> dict[str, Any]:
    return {
        "at": iso(one.ts, zone),
        "space": one.space,
        "who": one.who,
        "text": one.text,
        "number": one.number,
        "corrects": one.corrects,
        "corrected_by": one.corrected_by,
    }


def _happened(one: Happened, zone: tzinfo) -> dict[str, Any]:
    to = None if one.to_ms is None else iso(one.to_ms, zone)
    return {"at": iso(one.ts, zone), "to": to, "kind": one.kind.value, "words": one.words}


def _sensor(one: SensorNight, night: Night) -> dict[str, Any]:
    sensor, zone = one.sensor, night.window.zone
    return {
        "id": sensor.id,
        "quantity": sensor.quantity.value,
        "zone": sensor.zone,
        "received": one.received,
        "counted": one.counted,
        "late": one.late,
        "doubted": dict(one.doubted),
        "coverage_pct": _share(one.covered_ms, night.window.lasts_ms),
        "gaps": [_span(begin, end, zone) for begin, end in one.silences],
        "last": None if one.last_ms is None else iso(one.last_ms, zone),
        "calibrations": [_since(since, zone) for since in one.calibrations],
    }


def _since(one: Since, zone: tzinfo) -> dict[str, Any]:
    """A correction in force: `value = slope * raw + offset`."""
    known = one.known
    return {
        "from": iso(one.wall_ms, zone),
        "slope": 1.0 if known is None else round(known.slope, SLOPE),
        "offset": 0.0 if known is None else round(known.offset, SLOPE),
        "error": None if known is None else round(known.error, VALUE),
        "made": None if known is None else iso(known.made_ms, zone),
        "due": None if known is None else iso(known.due_ms, zone),
        "who": None if known is None else known.who,
        "against": [] if known is None else [point.against for point in known.points],
    }


def _finding(one: FindingNight, zone: tzinfo) -> dict[str, Any]:
    return {
        "finding": one.reason.value,
        "sensor": one.sensor,
        "space": one.space,
        "since": iso(one.since_ms, zone),
        "words": reason_words(one.reason, one.facts),
        "facts": dict(one.facts),
    }


def _away(one: Away, zone: tzinfo) -> dict[str, Any]:
    return {**_span(one.from_ms, one.to_ms, zone), "clean": one.clean, "lost": one.lost}


def _mains_off(night: Night, one: MainsOff) -> dict[str, Any]:
    zone = night.window.zone
    return {
        **_span(one.from_ms, one.to_ms, zone),
        "sensor": one.sensor,
        "back": one.back,
        "words": mains.words(night, one),
        "spaces": [
            {
                "space": went.space,
                "extremes": {
                    quantity.value: {"min": _value(least), "max": _value(most)}
                    for quantity, (least, most) in went.extremes.items()
                },
                "unseen_s": _seconds(went.unseen_ms),
                "right_again": None if went.right_ms is None else iso(went.right_ms, zone),
            }
            for went in one.spaces
        ],
    }


def _unset(one: ClockUnset, zone: tzinfo) -> dict[str, Any]:
    showed = None if one.showed_ms is None else iso(one.showed_ms, zone)
    return {**_span(one.from_ms, one.to_ms, zone), "showed": showed}


def _span(begin: int, end: int, zone: tzinfo) -> dict[str, Any]:
    return {"start": iso(begin, zone), "end": iso(end, zone), "lasted_s": _seconds(end - begin)}


def _hours(ms: float) -> float:
    return round(ms / MS_PER_H, HOURS)


def _seconds(ms: int) -> float:
    return round(ms / 1000, 1)


def _share(part_ms: int, whole_ms: int) -> float:
    return round(100 * part_ms / whole_ms, PERCENT) if whole_ms else 0.0


def _value(value: float | None) -> float | None:
    return None if value is None else round(value, VALUE)
