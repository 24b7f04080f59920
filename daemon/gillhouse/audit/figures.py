"""The figures of a night, from the evidence of the store.

Here: which readings count, and the sums per space, quantity, relay, alarm and sensor. Pure: everything
comes in as an `Evidence`. Not here: reading the store (`evidence`), the arithmetic of the hold rule
(`hold`) and of runs (`runs`), why it was outside (`causes`), wording.

Which readings count: those the daemon judged GOOD when they came, and those that arrived late under their
own time with a believable value; these fill the night's holes and are marked. The quality that counts is the
one stored that night. Only a late reading, which was marked unseen, is held against the believable range.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby

from gillhouse.audit import causes, hold, places, runs
from gillhouse.audit.evidence import Evidence
from gillhouse.audit.forgotten import forgotten
from gillhouse.audit.happened import changes
from gillhouse.audit.mains import times_without
from gillhouse.audit.night import (
    REPORTED,
    AlarmNight,
    AuditError,
    Happened,
    Night,
    NoteNight,
    Outside,
    QuantityNight,
    RelayNight,
    SensorNight,
    SpaceNight,
)
from gillhouse.audit.wording import reason_words
from gillhouse.core.calibration import in_date
from gillhouse.core.estimate import DEFAULT_COMBINE
from gillhouse.core.inputs import Reading
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quality import SensorState, judge
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import (
    Combine,
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)
from gillhouse.core.truth import AT_LEAST_PCT
from gillhouse.core.truth_status import wished_pct
from gillhouse.store.records import AlarmAt, ReadingAt

JOIN_MS = 5 * 60_000
"""Two times outside on the same side, less than this apart, are told as one. Common practice, no source."""

LAST = 1 << 62
"""No journal number is greater."""


def counts(sensor: SensorSettings, seen: ReadingAt) -> bool:
    """Whether a stored reading may speak for the night."""
    if seen.quality is Quality.GOOD:
        return True
    if seen.mark is not Mark.LATE:
        return False
    # A late reading was given its mark before its value was looked at; look now, as if it had come alone.
    alone = judge(sensor, SensorState(0), Instant(seen.ts, 0), Reading(sensor.id, seen.value, seen.ts))
    return alone.quality is Quality.GOOD


def figures(evidence: Evidence, only: Sequence[str] = ()) -> Night:
    """The night of the farm.

    Args:
        only: ids of the spaces wanted; empty for all.
    Raises:
        AuditError: a space that is not in the farm.
    """
    farm = evidence.latest.farm
    for space in only:
        if space not in farm.spaces:
            raise AuditError(f"space {space!r} is not in this farm; there are: {', '.join(farm.spaces)}")
    wanted = [space for name, space in farm.spaces.items() if not only or name in only]
    alarms = _alarms(evidence)
    notes = _notes(evidence)
    spaces = tuple(_space(evidence, space, alarms, notes) for space in wanted)
    return Night(
        farm=farm.name,
        window=evidence.window,
        asked_to_ms=evidence.asked_to_ms,
        log_begins_ms=evidence.log_begins_ms,
        log_ends_ms=evidence.log_ends_ms,
        removed_before_ms=evidence.removed_before_ms,
        spaces=spaces,
        relays=tuple(_relay(evidence, relay) for relay in farm.relays.values() if relay.space is None),
        alarms=tuple(alarm for alarm in alarms if alarm.space is None),
        notes=tuple(note for note in notes if note.space is None),
        sensors=tuple(_sensor(evidence, sensor) for sensor in farm.sensors.values() if sensor.space is None),
        away=evidence.away,
        rejects=dict(sorted(evidence.rejects.items())),
        simulated=evidence.simulated,
        coming=tuple(one for one in evidence.coming if not only or one.space in only),
        ahead=tuple(one for one in evidence.ahead if not only or one.space in only),
        findings=tuple(one for one in evidence.findings if not only or one.space in only),
        configs=tuple(digest for digest, _ in groupby(stretch.digest for stretch in evidence.configs)),
        clock_unset=evidence.clock_unset,
        forgotten=forgotten(evidence.events, evidence.window),
        mains=times_without(farm, evidence.events, evidence.window, spaces),
    )


def _space(
    evidence: Evidence, space: SpaceSettings, alarms: Sequence[AlarmNight], notes: Sequence[NoteNight]
) -> SpaceNight:
    farm = evidence.latest.farm
    return SpaceNight(
        space=space,
        quantities={quantity: _quantity(evidence, space, quantity) for quantity in REPORTED},
        relays=tuple(_relay(evidence, relay) for relay in farm.relays.values() if relay.space == space.id),
        shared=_shared(farm, space.id),
        alarms=tuple(alarm for alarm in alarms if alarm.space == space.id),
        notes=tuple(note for note in notes if note.space == space.id),
        sensors=tuple(
            _sensor(evidence, sensor) for sensor in farm.sensors.values() if sensor.space == space.id
        ),
        reach=_reach(evidence, space.id),
        happened=tuple(one for one in _happened(evidence) if one.space == space.id),
        out_of_use=tuple(evidence.out_of_use.get(space.id, ())),
    )


def _shared(farm: FarmSettings, space: str) -> tuple[str, ...]:
    """Ids of the shared relays that serve a space: its pump, its shared fan."""
    own = {relay.id for relay in farm.relays.values() if relay.space == space}
    pumps = [supply.pump for supply in farm.supplies.values() if own.intersection(supply.valves)]
    fans = [air.fan for air in farm.shared_air.values() if space in air.dampers]
    return tuple(sorted({*pumps, *fans}))


def air(
    evidence: Evidence, space: SpaceSettings, quantity: Quantity
) -> tuple[list[hold.Track], list[hold.Held]]:
    """How a space's quantity was: each of its sensors, and the one value they make by the hold rule."""
    here = places.sensors_of(evidence.configs, evidence.moved, space.id)
    rule = space.combine.get(quantity, DEFAULT_COMBINE[quantity])
    mine = [(sensor, spans) for sensor, spans in here.values() if sensor.quantity is quantity]
    tracks = [_track(evidence, sensor, spans) for sensor, spans in mine]
    return tracks, hold.held(tracks, rule, evidence.window.from_ms, evidence.window.to_ms)


def _quantity(evidence: Evidence, space: SpaceSettings, quantity: Quantity) -> QuantityNight:
    window, unused = evidence.window, evidence.out_of_use.get(space.id, ())
    tracks, steps = air(evidence, space, quantity)
    steps = hold.without(steps, unused)
    limits = _limits(evidence, space.id, quantity)
    pieces = hold.cut(steps, limits)
    in_window = [one for track in tracks for one in track.readings if one.ts >= window.from_ms]
    found = []
    for stretch in hold.stretches(pieces, JOIN_MS):
        cause, words = causes.explain(evidence, space, quantity, stretch)
        found.append(Outside(stretch, cause, words))
    return QuantityNight(
        quantity=quantity,
        limits=tuple(limits),
        samples=len(in_window),
        late_samples=sum(1 for one in in_window if one.late),
        steps=tuple(steps),
        tally=hold.tally(pieces),
        holes=tuple(hold.outside_of(hold.holes(steps, window.from_ms, window.to_ms), unused)),
        outside=tuple(found),
        measured=bool(tracks),
        sure_to=_sure_to(evidence, space, quantity),
        wished=_wished(evidence, space, quantity),
        out_ms=sum(end - begin for begin, end in unused),
    )


def _sure_to(evidence: Evidence, space: SpaceSettings, quantity: Quantity) -> float | None:
    """From where on values are only 'at least'; None where they may be taken as they are."""
    if quantity is not Quantity.HUMIDITY:
        return None
    end_ms = evidence.window.to_ms
    for sensor in evidence.latest.farm.sensors.values():
        if sensor.space != space.id or sensor.quantity is not quantity or sensor.zone in places.ELSEWHERE:
            continue
        changes = evidence.corrections.within(sensor, end_ms)
        known = changes[-1].known if changes else None
        if known is None or known.top < AT_LEAST_PCT or not in_date(known, end_ms):
            return AT_LEAST_PCT
    return None


def _wished(evidence: Evidence, space: SpaceSettings, quantity: Quantity) -> float | None:
    """The humidity asked for, where it is more than sensors without a check in date may steer to."""
    farm, end_ms, band = evidence.latest.farm, evidence.window.to_ms, space.bands.get(quantity)
    misted = any(relay.space == space.id and relay.role is Role.MIST for relay in farm.relays.values())
    if quantity is not Quantity.HUMIDITY or band is None or not misted or space.kind is SpaceKind.OPEN:
        return None
    for sensor in farm.sensors.values():
        if (sensor.space, sensor.quantity) != (space.id, quantity) or sensor.zone in places.ELSEWHERE:
            continue
        if sensor.calibrated or evidence.corrections.sure(sensor, LAST, end_ms):
            return None
    return wished_pct(band)


def _track(
    evidence: Evidence, sensor: SensorSettings, spans: Sequence[places.Span] | None = None
) -> hold.Track:
    """What a sensor says; with `spans` of those times alone (and of just before the window)."""
    within = None if spans is None or list(spans) == [_whole(evidence)] else spans
    readings = [
        hold.Counted(
            seen.ts, seen.value, seen.mark is Mark.LATE, evidence.corrections.sure(sensor, seen.seq, seen.ts)
        )
        for seen in evidence.readings.get(sensor.id, ())
        if counts(sensor, seen) and (within is None or _in(seen.ts, within, evidence.window.from_ms))
    ]
    return hold.Track(readings, sensor.silent_after_ms, sensor.calibrated)


def _whole(evidence: Evidence) -> places.Span:
    return evidence.configs[0].from_ms, evidence.configs[-1].to_ms


def _in(ts: int, spans: Sequence[places.Span], from_ms: int) -> bool:
    at = max(ts, from_ms)
    return any(begin <= at < end for begin, end in spans)


def _limits(evidence: Evidence, space: str, quantity: Quantity) -> list[hold.Limits]:
    """The band in force through the night; touching stretches of the same band are one."""
    found: list[hold.Limits] = []
    for stretch in evidence.configs:
        settings = stretch.farm.spaces.get(space)
        band = settings.bands.get(quantity) if settings else None
        low, high = (band.low, band.high) if band else (None, None)
        if found and (found[-1].low, found[-1].high) == (low, high):
            found[-1] = hold.Limits(found[-1].from_ms, stretch.to_ms, low, high)
        else:
            found.append(hold.Limits(stretch.from_ms, stretch.to_ms, low, high))
    return found


def _relay(evidence: Evidence, relay: RelaySettings) -> RelayNight:
    window = evidence.window
    issued = evidence.commands.get(relay.id, ())
    both = {}
    for advise in (False, True):
        mine = [one for one in issued if one.command.advise is advise]
        both[advise] = runs.within(
            runs.runs(mine, evidence.stops, window.to_ms), window.from_ms, window.to_ms
        )
    refused: Counter[str] = Counter(
        happened.event.reason.value
        for happened in evidence.events
        if happened.event.kind is EventKind.REFUSED
        and happened.event.subject == relay.id
        and happened.event.reason is not None
        and happened.ts >= window.from_ms
    )
    return RelayNight(
        relay=relay,
        driven=tuple(both[False]),
        driven_starts=runs.started(both[False], window.from_ms),
        advised=tuple(both[True]),
        advised_starts=runs.started(both[True], window.from_ms),
        held_back=dict(sorted(refused.items())),
    )


def litres(relay: RelaySettings, some: Iterable[runs.Run]) -> float:
    """Water given: on-time at the nozzles' label figure, litres."""
    return relay.litres_per_h * runs.on_ms(some) / hold.MS_PER_H


def _alarms(evidence: Evidence) -> list[AlarmNight]:
    """Every occurrence of an alarm that touches the night."""
    by_occurrence: dict[tuple[str, int], list[AlarmAt]] = {}
    for rung in evidence.alarms:
        by_occurrence.setdefault((rung.notice.alarm, rung.notice.occurrence), []).append(rung)
    found = [_alarm(rows) for rows in by_occurrence.values()]
    window = evidence.window
    touching = [
        alarm
        for alarm in found
        if alarm is not None
        and alarm.began_ms < window.to_ms
        and (alarm.ended_ms is None or alarm.ended_ms > window.from_ms)
    ]
    return sorted(touching, key=lambda alarm: (alarm.began_ms, alarm.alarm, alarm.occurrence))


def _alarm(rows: Sequence[AlarmAt]) -> AlarmNight | None:
    first = next((rung for rung in rows if rung.notice.transition is Transition.ACT), None)
    if first is None:
        return None
    ended = next((rung.ts for rung in rows if rung.notice.transition is Transition.RTN), None)
    answer = next((rung for rung in rows if rung.notice.transition is Transition.ACK), None)
    return AlarmNight(
        alarm=first.notice.alarm,
        kind=first.notice.kind,
        occurrence=first.notice.occurrence,
        space=first.notice.space,
        priority=first.notice.priority,
        began_ms=first.ts,
        ended_ms=ended,
        acknowledged_ms=answer.ts if answer else None,
        who=answer.notice.who if answer else "",
        announced=sum(1 for rung in rows if rung.notice.announce),
        facts=first.notice.facts,
    )


def _notes(evidence: Evidence) -> list[NoteNight]:
    """What people wrote down, and what happened with water by hand."""
    found = []
    for happened in evidence.events:
        event = happened.event
        if happened.ts < evidence.window.from_ms:
            continue
        if event.kind is EventKind.NOTE:
            who, text = str(event.facts.get("who", "")), str(event.facts.get("text", ""))
            corrects = event.facts.get("corrects")
            earlier = int(corrects) if isinstance(corrects, int) else None
            found.append(NoteNight(happened.ts, event.space, who, text, happened.seq, earlier))
        elif event.kind is EventKind.WATER and event.reason not in (None, Reason.OWN_REACH):
            assert event.reason is not None  # just looked at
            words = reason_words(event.reason, event.facts)
            found.append(NoteNight(happened.ts, event.space, "", words, happened.seq))
    later = {one.corrects: one.number for one in found if one.corrects is not None}
    return [replace(one, corrected_by=later.get(one.number)) for one in found]


def _reach(evidence: Evidence, space: str) -> tuple[float, float] | None:
    """From how dry to how damp an open space came in these hours lately, as told in the window."""
    mine = (one for one in evidence.events if one.event.reason is Reason.OWN_REACH)
    told = [one for one in mine if one.event.space == space and one.ts >= evidence.window.from_ms]
    spans = [(one.event.facts["low"], one.event.facts["high"]) for one in told]
    known = [(low, high) for low, high in spans if isinstance(low, float) and isinstance(high, float)]
    return (min(low for low, _ in known), max(high for _, high in known)) if known else None


def _happened(evidence: Evidence) -> tuple[Happened, ...]:
    window = evidence.window
    return changes(evidence.events, window.from_ms, window.to_ms, window.zone)


def _sensor(evidence: Evidence, sensor: SensorSettings) -> SensorNight:
    window = evidence.window
    seen = [one for one in evidence.readings.get(sensor.id, ()) if one.ts >= window.from_ms]
    good = [one for one in seen if counts(sensor, one)]
    track = _track(evidence, sensor)
    steps = hold.held([track], Combine.MEDIAN, window.from_ms, window.to_ms)
    doubted: Counter[str] = Counter(
        one.mark.value or one.quality.name.lower() for one in seen if not counts(sensor, one)
    )
    return SensorNight(
        sensor=sensor,
        received=len(seen),
        counted=len(good),
        late=sum(1 for one in good if one.mark is Mark.LATE),
        doubted=dict(sorted(doubted.items())),
        covered_ms=sum(step.to_ms - step.from_ms for step in steps),
        silences=tuple(hold.holes(steps, window.from_ms, window.to_ms)),
        last_ms=track.readings[-1].ts if track.readings else None,
        calibrations=tuple(evidence.corrections.within(sensor, window.to_ms)),
    )
