"""A measuring run of one space: what it asks of fan and mist, phase by phase, and when it gives up.

What lives here: the phases (`step_plan`) as a small state machine, and its asks. What must not: the fit
(`step_fit`), granting (a run asks as a person's override does: doors, tanks, people and machines' limits
stand above it).
How: the fan rests while the batch's CO2 climbs to a level, mist and heat going on as usual; then it runs
until CO2 has settled; then, still running, mist comes in pulses far apart; then the fan rests once more, so
that breath and leakage can be told apart. A run that a limit, a door, a person or a silent sensor interrupts
is given up at once and everything steers itself again.
"""

from dataclasses import dataclass, field

from gillhouse.core.asks import Ask
from gillhouse.core.crops import Band
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.step_plan import FANNED, PHASE_WORDS, Phase, RunPlan, Stop

MINUTE_MS = 60_000
CLIMB_PPM = 600.0
"""CO2 is let climb by so much, if its alarm limit leaves room."""
LEAST_CLIMB_PPM = 150.0
"""... and by no less, or the run says nothing."""
UNDER_LIMIT_PPM = 50.0
"""The climb ends this far below the limit that would call somebody."""
REST_MOST_MS = 100 * MINUTE_MS
REST_LEAST_MS = 10 * MINUTE_MS
"""So long at least, for readings enough; half of it where the limit is near."""
AIR_LEAST_MS = 15 * MINUTE_MS
AIR_MOST_MS = 90 * MINUTE_MS
SETTLED_PPM = 12.0
"""Means of two neighbouring five minutes differ by less: CO2 has settled. About a cheap sensor's noise."""
MIST_MOST_MS = 70 * MINUTE_MS
MIST_GAP_MS = 6 * MINUTE_MS
"""Between pulses, so that both sensors have followed (three minutes) and something is left to see."""
AGAIN_MS = 25 * MINUTE_MS
DRY_GAP_MS = 4 * MINUTE_MS
"""... and as little where it is too dry already."""
PULSES = 7
AFTER_MIST_MS = 7 * MINUTE_MS
MISSING_MS = 3 * MINUTE_MS
"""Without a value for so long, and the run is given up."""
WET_MS = 10 * MINUTE_MS
"""Too wet for so long ends the fan's rest."""
DRY_MS = 5 * MINUTE_MS
"""Under its limit for so long, and the run is given up: before anybody is called for it."""
FOLLOW_MS = 3 * MINUTE_MS
"""The fan must do as asked within this."""
LOOK_AGAIN_MS = 10_000
FIVE = 5
"""Minutes whose means are compared."""


@dataclass(slots=True)
class Look:
    """What is known at one moment. None: not known."""

    co2: float | None
    humidity: float | None
    temperature: float | None
    door_open: bool | None = None
    people: bool | None = None
    link_up: bool = True
    fan_on: bool = False


@dataclass(slots=True)
class RunState:
    """How far a run has come. Times are monotonic milliseconds unless they say wall."""

    phase: Phase = Phase.IDLE
    who: str = ""
    since_ms: int = 0
    marks: dict[str, int] = field(default_factory=dict)
    """Wall time at which each phase began."""
    why: Stop | None = None
    start_ppm: float = 0.0
    top_ppm: float = 0.0
    seen_ms: int = 0
    """When everything needed was last known."""
    wet_since_ms: int | None = None
    dry_since_ms: int | None = None
    minutes: list[float] = field(default_factory=list)
    """Means of CO2 by minute, the last ten."""
    minute: int = 0
    minute_sum: float = 0.0
    minute_count: int = 0
    looked_ms: int = 0
    """When it was last moved on."""
    pulses: int = 0
    pulse_from_ms: int = 0
    pulse_to_ms: int = 0

    @property
    def running(self) -> bool:
        return self.phase in (Phase.REST, Phase.AIR, Phase.MIST, Phase.AGAIN)


def begin(plan: RunPlan, state: RunState, look: Look, now: Instant, who: str) -> Stop | None:
    """Starts a run, or says why not; the state is then as it was."""
    if state.running:
        return Stop.RUNNING
    if look.co2 is None:
        return Stop.NO_CO2_SENSOR
    stop = _harm(plan, look) or (Stop.DRY if _too_dry(plan, look) else None)
    if stop is None and look.co2 > plan.limit_ppm - UNDER_LIMIT_PPM - LEAST_CLIMB_PPM:
        stop = Stop.CO2_LIMIT
    if stop is not None:
        return stop
    fresh = RunState()
    for name in RunState.__dataclass_fields__:
        setattr(state, name, getattr(fresh, name))
    state.who, state.start_ppm, state.top_ppm = who, look.co2, look.co2
    state.seen_ms = state.looked_ms = now.mono_ms
    _enter(state, Phase.REST, now)
    return None


def give_up(state: RunState, why: Stop, now: Instant) -> None:
    """Ends a run at once; the relays steer themselves again."""
    if state.running:
        state.why = why
        _enter(state, Phase.GIVEN_UP, now)


def advance(plan: RunPlan, state: RunState, look: Look, now: Instant) -> bool:
    """Moves a run on by what is known now.

    Returns: whether another phase has begun.
    """
    if not state.running:
        return False
    was = state.phase
    state.looked_ms = now.mono_ms
    stop = (
        _harm(plan, look)
        or _dried_out(plan, state, look, now)
        or _missing(state, look, now)
        or _not_followed(state, look, now)
    )
    if stop is Stop.DRY and was is Phase.MIST:
        state.dry_since_ms = None
        _enter(state, Phase.AGAIN, now)  # the mist part stays incomplete; the air part does not suffer
        return True
    if stop is not None:
        give_up(state, stop, now)
        return True
    if look.co2 is not None:
        _note(state, look.co2, now)
    _STEPS[was](plan, state, look, now)
    return state.phase is not was


def asks(plan: RunPlan, state: RunState, now: Instant, seq: int) -> list[Ask]:
    """What a run in progress asks of its relays; nothing when none is.

    Args:
        seq: journal number of what moved the run last; stands as the cause.
    """
    if not state.running:
        return []
    found = [_ask(state, fan, state.phase in FANNED, seq) for fan in plan.fans]
    if state.phase is Phase.MIST:
        wet = now.mono_ms < state.pulse_to_ms
        found += [_ask(state, mist, wet, seq) for mist in plan.mists]
    return found


def due_ms(state: RunState, mono_ms: int) -> int | None:
    """When a run last looked at `mono_ms` must be looked at again; None where none is in progress."""
    if not state.running:
        return None
    moments = [mono_ms + LOOK_AGAIN_MS]
    if state.phase is Phase.MIST and state.pulse_to_ms > mono_ms:
        moments.append(state.pulse_to_ms)
    return min(moments)


def facts(state: RunState) -> Facts:
    """A run for the log and the command line, plain values."""
    told: dict[str, float | int | str | bool | None] = {
        "phase": state.phase.value,
        "who": state.who,
        "pulses": state.pulses,
        "climbed_ppm": round(state.top_ppm - state.start_ppm, 1),
        "why": None if state.why is None else state.why.value,
    }
    told.update({f"{phase}_from_ms": at for phase, at in state.marks.items()})
    return told


def _ask(state: RunState, relay: str, on: bool, seq: int) -> Ask:
    said: Facts = {"phase": PHASE_WORDS[state.phase], "who": state.who}
    return Ask(relay, on, None, Authority.OVERRIDE, Reason.MEASURING, (seq,), said)


def _enter(state: RunState, phase: Phase, now: Instant) -> None:
    state.phase, state.since_ms = phase, now.mono_ms
    state.marks[phase.value] = now.wall_ms
    state.minutes.clear()
    state.minute_sum, state.minute_count = 0.0, 0


def _harm(plan: RunPlan, look: Look) -> Stop | None:
    """A person, a door, a limit: nothing is measured through these."""
    if look.people:
        return Stop.PEOPLE
    if look.door_open:
        return Stop.DOOR
    if not look.link_up:
        return Stop.LINK
    if look.co2 is not None and look.co2 >= plan.limit_ppm:
        return Stop.CO2_LIMIT
    band, value = plan.temperature, look.temperature
    if value is None or band is None:
        return None
    if band.alarm_low is not None and value < band.alarm_low:
        return Stop.COLD
    return Stop.HOT if band.alarm_high is not None and value > band.alarm_high else None


def _too_dry(plan: RunPlan, look: Look) -> bool:
    limit = plan.humidity.alarm_low if plan.humidity else None
    return limit is not None and look.humidity is not None and look.humidity < limit


def _dried_out(plan: RunPlan, state: RunState, look: Look, now: Instant) -> Stop | None:
    if not _too_dry(plan, look):
        state.dry_since_ms = None
        return None
    if state.dry_since_ms is None:
        state.dry_since_ms = now.mono_ms
    return Stop.DRY if now.mono_ms - state.dry_since_ms >= DRY_MS else None


def _missing(state: RunState, look: Look, now: Instant) -> Stop | None:
    needed = (look.co2, look.humidity, look.temperature) if state.phase is Phase.MIST else (look.co2,)
    if all(value is not None for value in needed):
        state.seen_ms = now.mono_ms
    return Stop.SENSOR if now.mono_ms - state.seen_ms >= MISSING_MS else None


def _not_followed(state: RunState, look: Look, now: Instant) -> Stop | None:
    if now.mono_ms - state.since_ms < FOLLOW_MS:
        return None
    return None if look.fan_on is (state.phase in FANNED) else Stop.FAN_HELD


def _note(state: RunState, co2: float, now: Instant) -> None:
    minute = now.mono_ms // MINUTE_MS
    if minute != state.minute and state.minute_count:
        state.minutes.append(state.minute_sum / state.minute_count)
        del state.minutes[: -2 * FIVE]
        state.minute_sum, state.minute_count = 0.0, 0
    state.minute = minute
    state.minute_sum += co2
    state.minute_count += 1
    if state.phase is Phase.REST:
        state.top_ppm = max(state.top_ppm, co2)


def _rest(plan: RunPlan, state: RunState, look: Look, now: Instant) -> None:
    spent = now.mono_ms - state.since_ms
    level = min(state.start_ppm + CLIMB_PPM, plan.limit_ppm - UNDER_LIMIT_PPM)
    full = state.top_ppm >= level
    wet = _too_wet_for_long(plan, state, look, now)
    least_ms = REST_LEAST_MS if level >= state.start_ppm + CLIMB_PPM else REST_LEAST_MS // 2
    if full and spent >= least_ms:
        _enter(state, Phase.AIR, now)
    elif spent >= REST_MOST_MS or wet:
        if state.top_ppm - state.start_ppm >= LEAST_CLIMB_PPM:
            _enter(state, Phase.AIR, now)
        else:
            give_up(state, Stop.NO_CLIMB, now)


def _too_wet_for_long(plan: RunPlan, state: RunState, look: Look, now: Instant) -> bool:
    limit = plan.humidity.alarm_high if plan.humidity else None
    if limit is None or look.humidity is None or look.humidity <= limit:
        state.wet_since_ms = None
        return False
    if state.wet_since_ms is None:
        state.wet_since_ms = now.mono_ms
    return now.mono_ms - state.wet_since_ms >= WET_MS


def _air(plan: RunPlan, state: RunState, look: Look, now: Instant) -> None:
    spent = now.mono_ms - state.since_ms
    if spent < AIR_LEAST_MS or len(state.minutes) < 2 * FIVE:
        return
    earlier, later = sum(state.minutes[:FIVE]) / FIVE, sum(state.minutes[FIVE:]) / FIVE
    if abs(earlier - later) >= SETTLED_PPM and spent < AIR_MOST_MS:
        return
    if state.top_ppm - later < LEAST_CLIMB_PPM:
        give_up(state, Stop.NO_FALL, now)
    else:
        _enter(state, Phase.MIST if plan.mists else Phase.AGAIN, now)


def _mist(plan: RunPlan, state: RunState, look: Look, now: Instant) -> None:
    mono_ms = now.mono_ms
    last = state.pulse_to_ms if state.pulses else state.since_ms
    over = state.pulses >= PULSES and mono_ms - last >= AFTER_MIST_MS
    if over or mono_ms - state.since_ms >= MIST_MOST_MS:
        _enter(state, Phase.AGAIN, now)
        return
    if state.pulses >= PULSES or look.humidity is None:
        return
    low, middle = _pulse_below(plan.humidity)
    gap_ms = DRY_GAP_MS if look.humidity < low else MIST_GAP_MS
    if mono_ms - last >= gap_ms and look.humidity < middle:
        state.pulses += 1
        state.pulse_from_ms, state.pulse_to_ms = mono_ms, mono_ms + plan.pulse_ms


def _again(plan: RunPlan, state: RunState, look: Look, now: Instant) -> None:
    near = look.co2 is not None and look.co2 >= plan.limit_ppm - UNDER_LIMIT_PPM
    if near or now.mono_ms - state.since_ms >= AGAIN_MS:
        _enter(state, Phase.DONE, now)


def _pulse_below(band: Band | None) -> tuple[float, float]:
    """Humidity under which a pulse hurries, and under which there is room for one."""
    low = band.low if band is not None and band.low is not None else 80.0
    high = band.high if band is not None and band.high is not None else 95.0
    return low, (low + high) / 2


_STEPS = {Phase.REST: _rest, Phase.AIR: _air, Phase.MIST: _mist, Phase.AGAIN: _again}
