"""What a person does with a batch, and what its dates bring: the only place that changes a `CropState`.

Here: one function an act (`ACTS`), and `advance`, which brings ramps on, begins stages that a person planned,
and asks about those that are due. A stage never begins without a person's yes. Both tell what they did as
events; everything else follows from `in_force`. Not here: alarms, relays.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from gillhouse.core import local_moment
from gillhouse.core.batches import Batch, CropState, Planned, day_of_stage, flush_at, proposal
from gillhouse.core.crops import Band
from gillhouse.core.in_force import held, way_ms, wished
from gillhouse.core.inputs import BatchAct, BatchAction
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.ramps import STEP_MS, Ramp, reached
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings

HEAVIEST_KG = 1_000_000.0
FARTHEST_MS = 10 * 365 * 86_400_000
"""A date farther from now than ten years is a slip, or the clock is wrong."""
HAPPENED = (BatchAct.ADD, BatchAct.MOVE, BatchAct.END)
"""These are told when they have happened; the others may be for a day to come."""
SLACK_MS = 60_000
"""A moment this little ahead is 'now': two clocks."""

Fact = float | int | str | bool | None


@dataclass(slots=True)
class Turn:
    """One change of the crops under way."""

    settings: FarmSettings
    crops: CropState
    wall_ms: int
    seq: int
    events: list[Event] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    """Batches that came into a space, whose blocks may be cold."""

    def tell(self, batch: Batch, reason: Reason, **facts: Fact) -> None:
        told = {**_facts(batch), **facts}
        self.events.append(Event(EventKind.BATCH, batch.id, batch.space, reason, told, (self.seq,)))

    def tell_space(self, space: str, reason: Reason, **facts: Fact) -> None:
        told = {"space": space, **facts}
        self.events.append(Event(EventKind.BATCH, space, space, reason, told, (self.seq,)))

    def refuse(self, action: BatchAction, reason: Reason, **facts: Fact) -> None:
        told: dict[str, Fact] = {"batch": action.batch, "who": action.who, "act": action.act.value, **facts}
        self.events.append(Event(EventKind.REFUSED, action.batch, None, reason, told, (self.seq,)))

    def on(self, wall_ms: int) -> str:
        """The local day and time of a moment, as in `2026-03-29 06:00`."""
        return local_moment.written(wall_ms, self.settings.zone)


def _facts(batch: Batch) -> dict[str, Fact]:
    return {
        "batch": batch.id,
        "species": batch.species,
        "stage": batch.stage.value,
        "kg": batch.kg,
        "space": batch.space,
        "rack": batch.rack,
        "flush": batch.flush,
        "priority": batch.priority,
        "since_ms": batch.since_wall_ms,
        "here_since_ms": batch.here_since_wall_ms,
    }


def act(turn: Turn, action: BatchAction) -> None:
    """Does what a person asked, or refuses it with a reason; nothing is half done."""
    if action.act is not BatchAct.ADD and action.batch not in turn.crops.batches:
        turn.refuse(action, Reason.UNKNOWN_SUBJECT, subject=f"batch {action.batch}")
        return
    for reason, facts in _unbelievable(turn, action):
        turn.refuse(action, reason, **facts)
        return
    advance(turn)  # what is due at this very moment comes first, whoever is called first
    before = _held(turn, turn.settings.spaces)
    ACTS[action.act](turn, action)
    _ramp(turn, before)


def _unbelievable(turn: Turn, action: BatchAction) -> list[tuple[Reason, dict[str, Fact]]]:
    """What is wrong with the figures and names of an action, the first thing first."""
    found: list[tuple[Reason, dict[str, Fact]]] = []
    settings = turn.settings
    if action.space is not None and action.space not in settings.spaces:
        found.append((Reason.UNKNOWN_SUBJECT, {"subject": f"space {action.space}"}))
    if action.species is not None and action.species not in settings.species:
        found.append((Reason.UNKNOWN_SUBJECT, {"subject": f"species {action.species}"}))
    if action.kg is not None and not 0.0 < action.kg <= HEAVIEST_KG:
        found.append((Reason.NOT_BELIEVABLE, {"what": "kg", "value": action.kg}))
    if action.block_kg is not None and not 0.05 <= action.block_kg <= 1000.0:
        found.append((Reason.NOT_BELIEVABLE, {"what": "a block's kg", "value": action.block_kg}))
    if action.blocks_c is not None and not -40.0 <= action.blocks_c <= 60.0:
        found.append((Reason.NOT_BELIEVABLE, {"what": "the blocks' temperature", "value": action.blocks_c}))
    if action.at_ms is not None and abs(action.at_ms - turn.wall_ms) > FARTHEST_MS:
        found.append((Reason.NOT_BELIEVABLE, {"what": "a date in ms", "value": action.at_ms}))
    elif action.at_ms is not None and action.at_ms > turn.wall_ms + SLACK_MS and action.act in HAPPENED:
        found.append((Reason.DATE_AHEAD, {"on": turn.on(action.at_ms)}))
    return found


# --- acts ----------------------------------------------------------------------------------------------


def _add(turn: Turn, action: BatchAction) -> None:
    crops, space, species, stage = turn.crops, action.space, action.species, action.stage
    if action.batch in crops.batches:
        turn.refuse(action, Reason.BATCH_EXISTS)
        return
    if space is None or species is None or stage is None or action.kg is None:
        turn.refuse(action, Reason.NOT_BELIEVABLE, what="space, species, stage or kg", value="left out")
        return
    if stage not in turn.settings.species[species].stages:
        turn.refuse(action, Reason.STAGE_UNKNOWN, species=species, stage=stage.value)
        return
    at_ms = _past(turn, action)
    batch = crops.batches[action.batch] = Batch(
        id=action.batch,
        species=species,
        stage=stage,
        kg=action.kg,
        space=space,
        rack=action.rack or "",
        since_wall_ms=at_ms,
        here_since_wall_ms=at_ms,
        priority=bool(action.priority),
    )
    turn.moved.append(batch.id)
    turn.tell(batch, Reason.BATCH_ADDED, who=action.who, text=action.text, at_ms=at_ms)


def _stage(turn: Turn, action: BatchAction) -> None:
    batch, stage = turn.crops.batches[action.batch], action.stage
    species = turn.settings.species.get(batch.species)
    if species is None or stage not in species.stages or stage is None:
        turn.refuse(
            action, Reason.STAGE_UNKNOWN, species=batch.species, stage=stage.value if stage else "stage given"
        )
        return
    if action.at_ms is not None and action.at_ms > turn.wall_ms + SLACK_MS:
        batch.planned = Planned(stage, action.at_ms, action.who)
        turn.tell(
            batch,
            Reason.STAGE_PLANNED,
            who=action.who,
            on=turn.on(action.at_ms),
            next=stage.value,
            stage=stage.value,
            at_ms=action.at_ms,
            text=action.text,
        )
        return
    _begin(turn, batch, wish=Planned(stage, _past(turn, action), action.who), text=action.text)


def _begin(turn: Turn, batch: Batch, wish: Planned, text: str = "") -> None:
    before = batch.stage
    batch.flush = flush_at(batch, wish.stage)
    batch.stage, batch.since_wall_ms = wish.stage, wish.at_wall_ms
    batch.planned = batch.ask_from_wall_ms = None
    batch.asked = False
    turn.tell(
        batch,
        Reason.STAGE_BEGUN,
        who=wish.who,
        from_stage=before.value,
        text=text,
        at_ms=wish.at_wall_ms,
    )


def _move(turn: Turn, action: BatchAction) -> None:
    batch = turn.crops.batches[action.batch]
    if action.space is None and action.rack is None:
        turn.refuse(action, Reason.NOT_BELIEVABLE, what="where to", value="left out")
        return
    before, rack = batch.space, batch.rack
    at_ms = _past(turn, action)
    batch.space = before if action.space is None else action.space
    batch.rack = action.rack if action.rack is not None else ("" if batch.space != before else rack)
    batch.priority = batch.priority if action.priority is None else action.priority
    batch.kg = batch.kg if action.kg is None else action.kg
    if batch.space != before:
        batch.here_since_wall_ms = at_ms
        turn.crops.cold.pop(batch.id, None)
        turn.moved.append(batch.id)
    turn.tell(
        batch,
        Reason.BATCH_MOVED,
        who=action.who,
        from_space=before,
        from_rack=rack,
        text=action.text,
        at_ms=at_ms,
    )


def _end(turn: Turn, action: BatchAction) -> None:
    batch = turn.crops.batches.pop(action.batch)
    turn.crops.cold.pop(batch.id, None)
    turn.tell(batch, Reason.BATCH_ENDED, who=action.who, text=action.text, at_ms=_past(turn, action))


def _accept(turn: Turn, action: BatchAction) -> None:
    batch = turn.crops.batches[action.batch]
    proposed = proposal(turn.settings.species, batch)
    if proposed is None:
        turn.refuse(action, Reason.NOTHING_PROPOSED)
        return
    at_ms = max(proposed.from_wall_ms, turn.wall_ms) if action.at_ms is None else action.at_ms
    _stage(
        turn,
        BatchAction(BatchAct.STAGE, batch.id, action.who, at_ms, stage=proposed.stage, text=action.text),
    )


def _later(turn: Turn, action: BatchAction) -> None:
    batch = turn.crops.batches[action.batch]
    planned, batch.planned = batch.planned, None
    proposed = proposal(turn.settings.species, batch)
    if action.at_ms is None or (proposed is None and planned is None):
        batch.planned = planned
        turn.refuse(action, Reason.NOTHING_PROPOSED)
        return
    batch.ask_from_wall_ms, batch.asked = action.at_ms, False
    turn.tell(
        batch,
        Reason.STAGE_LATER,
        who=action.who,
        on=turn.on(action.at_ms),
        at_ms=action.at_ms,
        text=action.text,
    )


def _past(turn: Turn, action: BatchAction) -> int:
    return turn.wall_ms if action.at_ms is None else min(action.at_ms, turn.wall_ms)


ACTS: dict[BatchAct, Callable[[Turn, BatchAction], None]] = {
    BatchAct.ADD: _add,
    BatchAct.STAGE: _stage,
    BatchAct.MOVE: _move,
    BatchAct.END: _end,
    BatchAct.ACCEPT: _accept,
    BatchAct.LATER: _later,
}


# --- dates ---------------------------------------------------------------------------------------------


def advance(turn: Turn) -> bool:
    """Everything that has come due by the turn's moment. Returns whether any space's bands moved."""
    moved = False
    for batch in list(turn.crops.batches.values()):
        planned = batch.planned
        if planned is not None and planned.at_wall_ms <= turn.wall_ms:
            before = _held(turn, [batch.space])
            _begin(turn, batch, planned)
            _ramp(turn, before)
            moved = True
        _ask(turn, batch)
    for space, ramp in list(turn.crops.ramps.items()):
        was, ramp.reached_ms = ramp.reached_ms, reached(ramp, turn.wall_ms)
        moved = moved or ramp.reached_ms > was
        if space not in turn.settings.spaces:
            del turn.crops.ramps[space]
        elif ramp.reached_ms >= way_ms(turn.settings, turn.crops, space, ramp):
            del turn.crops.ramps[space]
            stage = wished(turn.settings, turn.crops, space).stage.value
            turn.tell_space(space, Reason.BANDS_THERE, stage=stage)
            moved = True
    return moved


def _ask(turn: Turn, batch: Batch) -> None:
    """Tells once that a stage has lasted as long as is usual. What follows is the grower's to say."""
    proposed = None if batch.asked else proposal(turn.settings.species, batch)
    if proposed is not None and proposed.from_wall_ms <= turn.wall_ms:
        batch.asked = True
        day = day_of_stage(batch, turn.wall_ms)
        turn.tell(batch, Reason.STAGE_DUE, day=day, next=proposed.stage.value)


def next_change_ms(settings: FarmSettings, crops: CropState) -> int | None:
    """The wall time of the next thing `advance` has to do; None for nothing."""
    moments = [ramp.begun_wall_ms + ramp.reached_ms + STEP_MS for ramp in crops.ramps.values()]
    for batch in crops.batches.values():
        if batch.planned is not None:
            moments.append(batch.planned.at_wall_ms)
        proposed = None if batch.asked else proposal(settings.species, batch)
        if proposed is not None:
            moments.append(proposed.from_wall_ms)
    moments += [watch.reckoned_wall_ms + STEP_MS for watch in crops.cold.values()]
    return min(moments, default=None)


def restart(crops: CropState, wall_ms: int) -> None:
    """The daemon began again: what seems to have begun in the future (the clock was wrong) begins now."""
    for ramp in crops.ramps.values():
        ramp.begun_wall_ms = min(ramp.begun_wall_ms, wall_ms)
    for watch in crops.cold.values():
        watch.begun_wall_ms = min(watch.begun_wall_ms, wall_ms)
        watch.reckoned_wall_ms = min(watch.reckoned_wall_ms, wall_ms)


def shift(crops: CropState, by_ms: int) -> None:
    """The wall clock was set: what is under way goes on as if it had not been."""
    for ramp in crops.ramps.values():
        ramp.begun_wall_ms += by_ms
    for watch in crops.cold.values():
        watch.begun_wall_ms += by_ms
        watch.reckoned_wall_ms += by_ms


def _held(turn: Turn, spaces: Iterable[str]) -> dict[str, dict[Quantity, Band]]:
    """The bands of spaces at this moment; a space that is gone from the config has none."""
    return {
        space: held(turn.settings, turn.crops, space).bands
        for space in spaces
        if space in turn.settings.spaces
    }


def _ramp(turn: Turn, before: dict[str, dict[Quantity, Band]]) -> None:
    """Begins the way from what was held before a change to what is wished now, space by space."""
    for space, old in before.items():
        wish = wished(turn.settings, turn.crops, space)
        under_way = turn.crops.ramps.get(space)
        if under_way is not None and held(turn.settings, turn.crops, space).bands == old:
            continue  # nothing that this space wishes has changed
        if under_way is None and wish.bands == old:
            continue
        ramp = Ramp(turn.wall_ms, 0, dict(old))
        lasts_ms = way_ms(turn.settings, turn.crops, space, ramp)
        if lasts_ms == 0:
            turn.crops.ramps.pop(space, None)
            continue
        turn.crops.ramps[space] = ramp
        turn.tell_space(
            space, Reason.BANDS_MOVING, stage=wish.stage.value, hours=round(lasts_ms / 3_600_000, 2)
        )
