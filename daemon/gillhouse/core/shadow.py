"""What the labels hide, learnt beside them from the log: fan flow, the batch's breath, useful mist.

What lives here: a running estimate per space, its score against the labels, its drift. What must not:
steering (whoever steers asks `fan_factor` and `mist_share`). How: every quarter of an hour CO2 and the air's
water are balanced over what fan and mist did meanwhile (as a lagging sensor shows it), and two unknowns of
each balance are followed (see `recursive`). Before a quarter is taken in, it is predicted, by the estimate
and by the labels (to which the same steady part is fitted). Only after predicting clearly better for three
days does the estimate stand in for the labels; one day of doing worse hands back. A figure that has moved
away from what it had settled at, for two days, is a finding: nozzles, filter, a door ajar.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import exp

from gillhouse.core.air import AIR_KG_PER_M3
from gillhouse.core.recursive import Pair, Walk, fresh, learn, predicted

HOUR_MS = 3_600_000
BLOCK_MS = 15 * 60_000
"""Over this the balances are drawn and predictions are judged."""
LONGEST_STEP_MS = 5 * 60_000
"""After a longer silence the block is begun anew."""
LAG_MS = 70_000
"""CO2 and capped humidity sensors follow within 20 to 120 s; this stands in the middle."""
EDGE_MS = 150_000
"""Levels at a block's ends are means over about this."""
BETTER = 0.9
"""The estimate's squared errors of a day must be under this share of the labels'."""
FITS = 3.0
"""... and be, in the root of their mean, under this many times the readings' scatter: else nothing fits."""
MOST_OFF = 10.0
"""A quarter that was mispredicted by more (a door, a hose) counts no more than this."""
DAYS_BETTER = 3
JUDGED_LEAST = 8
"""Quarters with the fan (or mist) at work that make a day worth judging."""
SURE = 0.2
"""A gain whose doubt is over this share of it is not used."""
MOVED = 0.15
"""A day's mean further than this share from where it had settled has drifted: twice what weather does."""
STAYS = 0.6
"""... and is back when it is nearer than this part of that."""
DAYS_MOVED = 2
SETTLED_DAYS = 3
"""Judged days after which a figure is what later ones are compared with."""
MOST_PPM = 1e6
MOST_FLOW = 1e6
"""Beyond these nothing is a value; NaN fails too."""
CO2_SCATTER_PPM = 9.0
WATER_SCATTER = 0.00008
"""kg/kg: of the air's water at a block's ends."""


RATES = 5
"""Things that are added up over a block."""


@dataclass(frozen=True, slots=True)
class ShadowPlan:
    """A space by its labels."""

    volume_m3: float
    leak_ach: float
    fan_m3_per_h: float
    """0: no fan, nothing of it is learnt."""
    useful_share: float
    """What is taken of the mist without learning."""
    mist_litres_per_h: float


@dataclass(frozen=True, slots=True)
class Seen:
    """One moment: what the sensors say, what has been on since the moment before. None: not known."""

    wall_ms: int
    mono_ms: int
    co2_ppm: float | None
    ratio: float | None
    """Of the space's air, kg/kg."""
    intake_ppm: float
    intake_ratio: float
    fan_m3_per_h: float
    """Label flow of what has been on."""
    litres_per_h: float
    """Label flow of the nozzles that have been open."""
    undisturbed: bool = True
    """Door shut, nobody inside, as far as is known."""


@dataclass(slots=True)
class Learner:
    """One balance: what is believed, how it did, where it had settled."""

    pair: Pair
    label_base: Pair
    """The labels' own: gain fixed, the steady part fitted."""
    day: int = -1
    ours: float = 0.0
    """Squared errors of the day so far, in units of the readings' scatter."""
    labels: float = 0.0
    judged: int = 0
    gains: float = 0.0
    """Of the judged quarters, summed."""
    better_days: int = 0
    in_charge: bool = False
    settled_days: int = 0
    settling: float = 0.0
    """Sum of the daily means it is settling from."""
    settled: float = 0.0
    """What the gain had settled at; 0: not yet."""
    moved_days: int = 0
    mean: float = 0.0
    """Of the gain over the last judged day."""


@dataclass(slots=True)
class Block:
    """A quarter of an hour being added up."""

    began_ms: int = -1
    at_ms: int = -1
    fan_felt: float = 0.0
    """Share of the label's flow the sensor shows."""
    mist_unfelt_kg: float = 0.0
    co2_level: float = -1.0
    water_level: float = -1.0
    co2_begin: float = -1.0
    water_begin: float = -1.0
    rates: list[float] = field(default_factory=lambda: [0.0] * RATES)
    """What goes on per hour, smoothed as the levels are, so that a run cut by a block's end counts right."""
    sums: list[float] = field(default_factory=lambda: [0.0] * RATES)
    """Of the rates over the block: CO2 by fan and by leak, ppm; water by fan and by leak, by mist, kg."""


@dataclass(slots=True)
class ShadowState:
    block: Block = field(default_factory=Block)
    air: Learner | None = None
    water: Learner | None = None
    fan_m3_per_h: float = 0.0
    """What has been on since the last moment noted, by its label..."""
    litres_per_h: float = 0.0


FAN_PPM, LEAK_PPM, FAN_KG, LEAK_KG, MIST_KG = range(RATES)

AIR_WALKS = (Walk(1.0, 0.5, 0.008, 0.1, 2.5), Walk(200.0, 400.0, 25.0, 0.0, 20_000.0))
"""Fan flow as a share of its label; CO2 the batch gives, ppm/h."""


def water_walks(plan: ShadowPlan) -> tuple[Walk, Walk]:
    """Useful share of the mist's label; water crop and floor give, kg/h."""
    scale = plan.volume_m3 * AIR_KG_PER_M3 * 0.01
    return (
        Walk(plan.useful_share, 0.4, 0.008, 0.02, 1.5),
        Walk(0.1 * scale, scale, 0.05 * scale, -3.0 * scale, 5.0 * scale),
    )


def follow(plan: ShadowPlan, state: ShadowState, seen: Seen) -> None:
    """Takes note of one moment; cheap enough for every reading. Learns once a quarter of an hour."""
    if state.air is None:
        state.air = Learner(fresh(*AIR_WALKS), fresh(*AIR_WALKS))
    if state.water is None:
        walks = water_walks(plan)
        state.water = Learner(fresh(*walks), fresh(*walks))
    block = state.block
    step_ms = seen.mono_ms - block.at_ms
    if not _usable(seen) or block.began_ms < 0 or not 0 <= step_ms <= LONGEST_STEP_MS:
        state.block = _begun(seen, block)
        return
    _add(plan, state.air, block, seen, step_ms)
    if seen.mono_ms - block.began_ms >= BLOCK_MS:
        _learn(plan, state, block, seen)
        state.block = _begun(seen, block)


def _usable(seen: Seen) -> bool:
    values = (
        (seen.co2_ppm, MOST_PPM),
        (seen.intake_ppm, MOST_PPM),
        (seen.ratio, 1.0),
        (seen.intake_ratio, 1.0),
        (seen.fan_m3_per_h, MOST_FLOW),
        (seen.litres_per_h, MOST_FLOW),
    )
    return seen.undisturbed and all(value is not None and 0.0 <= value <= most for value, most in values)


def _begun(seen: Seen, last: Block) -> Block:
    """A new block that starts where the last one ended, if that is just now."""
    if not _usable(seen):
        return Block()
    assert seen.co2_ppm is not None and seen.ratio is not None
    goes_on = last.at_ms == seen.mono_ms and last.co2_level > 0.0
    block = Block(began_ms=seen.mono_ms, at_ms=seen.mono_ms)
    block.co2_level = last.co2_level if goes_on else seen.co2_ppm
    block.water_level = last.water_level if goes_on else seen.ratio
    block.co2_begin, block.water_begin = block.co2_level, block.water_level
    if goes_on:
        block.fan_felt, block.mist_unfelt_kg = last.fan_felt, last.mist_unfelt_kg
        block.rates = list(last.rates)
    return block


def _add(plan: ShadowPlan, air: Learner, block: Block, seen: Seen, step_ms: int) -> None:
    assert seen.co2_ppm is not None and seen.ratio is not None
    if not step_ms:
        return
    hours, block.at_ms = step_ms / HOUR_MS, seen.mono_ms
    keep, near = exp(-step_ms / LAG_MS), 1.0 - exp(-step_ms / EDGE_MS)
    block.co2_level += near * (seen.co2_ppm - block.co2_level)
    block.water_level += near * (seen.ratio - block.water_level)
    on = min(seen.fan_m3_per_h / plan.fan_m3_per_h, 1.0) if plan.fan_m3_per_h > 0.0 else 0.0
    felt = on + (block.fan_felt - on) * (1.0 - keep) * LAG_MS / step_ms
    block.fan_felt = on + (block.fan_felt - on) * keep
    block.mist_unfelt_kg += max(seen.litres_per_h, 0.0) * hours
    mist_kg = block.mist_unfelt_kg * (1.0 - keep)
    block.mist_unfelt_kg *= keep
    changes = plan.fan_m3_per_h / plan.volume_m3 * felt
    above_ppm = seen.co2_ppm - seen.intake_ppm
    above_kg = plan.volume_m3 * AIR_KG_PER_M3 * (seen.ratio - seen.intake_ratio)
    leak = plan.leak_ach
    now = (changes * above_ppm, leak * above_ppm, changes * above_kg, leak * above_kg, mist_kg / hours)
    for place, rate in enumerate(now):
        behind = block.rates[place] - rate
        block.sums[place] += rate * hours + behind * near * EDGE_MS / HOUR_MS
        block.rates[place] = rate + behind * (1.0 - near)


def _learn(plan: ShadowPlan, state: ShadowState, block: Block, seen: Seen) -> None:
    assert state.air is not None and state.water is not None
    hours = (block.at_ms - block.began_ms) / HOUR_MS
    day = seen.wall_ms // 86_400_000
    sums = block.sums
    rise = block.co2_level - block.co2_begin + sums[LEAK_PPM]
    if plan.fan_m3_per_h > 0.0:
        at_work = sums[FAN_PPM] > CO2_SCATTER_PPM
        look = (-sums[FAN_PPM], hours, rise, CO2_SCATTER_PPM)
        _take(state.air, AIR_WALKS, look, (day, at_work, 1.0))
    if plan.mist_litres_per_h > 0.0:
        dry_kg = plan.volume_m3 * AIR_KG_PER_M3
        carried = sums[LEAK_KG] + state.air.pair.gain * sums[FAN_KG]
        gained = dry_kg * (block.water_level - block.water_begin) + carried
        scatter = dry_kg * WATER_SCATTER
        at_work = plan.useful_share * sums[MIST_KG] > scatter
        look = (sums[MIST_KG], hours, gained, scatter)
        _take(state.water, water_walks(plan), look, (day, at_work, plan.useful_share))


def _take(
    learner: Learner,
    walks: tuple[Walk, Walk],
    look: tuple[float, float, float, float],
    when: tuple[int, bool, float],
) -> None:
    """Predicts a quarter both ways, scores it, then learns from it."""
    day, at_work, label = when
    if day != learner.day:
        _close_day(learner, day)
    x_gain, hours, y, scatter = look
    told = y - predicted(learner.pair, x_gain, hours)
    by_label = y - label * x_gain - learner.label_base.base * hours
    if at_work:
        learner.ours += min((told / scatter) ** 2, MOST_OFF**2)
        learner.labels += min((by_label / scatter) ** 2, MOST_OFF**2)
        learner.judged += 1
        learner.gains += learner.pair.gain
    learn(learner.pair, walks, hours, look)
    fixed = (Walk(0.0, 1e-6, 0.0, 0.0, 0.0), walks[1])
    learn(learner.label_base, fixed, hours, (0.0, hours, y - label * x_gain, scatter))


def _close_day(learner: Learner, day: int) -> None:
    if learner.judged >= JUDGED_LEAST:
        fits = learner.ours < FITS**2 * learner.judged
        better = fits and learner.ours < BETTER * learner.labels
        learner.better_days = learner.better_days + 1 if better else 0
        learner.in_charge = learner.better_days >= DAYS_BETTER and _is_sure(learner)
        if fits:
            _compare(learner)
    learner.day, learner.ours, learner.labels, learner.judged, learner.gains = day, 0.0, 0.0, 0, 0.0


def _is_sure(learner: Learner) -> bool:
    return learner.pair.gain_doubt <= SURE * abs(learner.pair.gain)


def _compare(learner: Learner) -> None:
    """Keeps what the gain settled at; counts the days it has been away from there."""
    if not _is_sure(learner):
        return
    learner.mean = learner.gains / learner.judged
    if not learner.settled:
        learner.settled_days += 1
        learner.settling += learner.mean
        if learner.settled_days >= SETTLED_DAYS:
            learner.settled = learner.settling / learner.settled_days
        return
    most = MOVED if not learner.moved_days else MOVED * STAYS
    away = abs(learner.mean / learner.settled - 1.0) > most
    learner.moved_days = learner.moved_days + 1 if away else 0


# --- what others ask -----------------------------------------------------------------------------------


def fan_factor(state: ShadowState) -> float:
    """True flow of the fans as a share of their labels; 1 while the labels are in charge."""
    return state.air.pair.gain if state.air is not None and state.air.in_charge else 1.0


def mist_share(state: ShadowState) -> float | None:
    """Useful share of the mist's label; None while the labels are in charge."""
    return state.water.pair.gain if state.water is not None and state.water.in_charge else None


@dataclass(frozen=True, slots=True)
class Drift:
    """A figure that moved away from where it had settled."""

    what: str
    """`fan` or `mist`."""
    share: float
    """Of what it had been: 0.7 is 30 % less."""


def drifts(state: ShadowState) -> Iterator[Drift]:
    """What has drifted for long enough to be told."""
    for what, learner in (("fan", state.air), ("mist", state.water)):
        if learner is not None and learner.settled and learner.moved_days >= DAYS_MOVED:
            yield Drift(what, learner.mean / learner.settled)


def settle_anew(state: ShadowState, what: str) -> None:
    """Somebody cleaned nozzles or filter: what was settled no longer counts; it settles anew."""
    learner = state.air if what == "fan" else state.water
    if learner is not None:
        learner.settled, learner.settling, learner.settled_days, learner.moved_days = 0.0, 0.0, 0, 0


DRIFT_WORDS: dict[tuple[str, bool], str] = {
    # (what, has it become less) -> what to look at
    ("fan", True): "the fan moves {pct:.0f} % less air than it did: look at filter, belt and inlet",
    ("fan", False): "{pct:.0f} % more fresh air than it was: a door, a hatch or a seam stands open",
    ("mist", True): "the mist gives {pct:.0f} % less than it did: clean nozzles and filter",
    ("mist", False): "the mist gives {pct:.0f} % more than it did: a nozzle dropped out, or a line leaks",
}


def drift_words(drift: Drift) -> str:
    """A drift in a grower's words."""
    return DRIFT_WORDS[drift.what, drift.share < 1.0].format(pct=100.0 * abs(drift.share - 1.0))
