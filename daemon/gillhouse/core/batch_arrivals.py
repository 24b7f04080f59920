"""What a batch action or a date brings to the farm: the crops change, then what the spaces should hold.

Here: the way from an input to `batch_acts` and `block_watch`, with the air the farm knows. Not here: the new
plan that follows (`farm`).
"""

from gillhouse.core.arrivals import Step
from gillhouse.core.batch_acts import Turn, act, advance
from gillhouse.core.block_watch import Air, come_in, warm_up
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import BatchAction
from gillhouse.core.quantities import Quantity


def take_batch(plan: Plan, state: State, step: Step, item: BatchAction) -> None:
    turn = Turn(plan.given, state.crops, step.now.wall_ms, step.seq)
    standing = state.crops.batches.get(item.batch)
    from_c = None if standing is None else _value(state, standing.space, Quantity.TEMPERATURE)
    act(turn, item)
    come_in(turn, item, _airs(state), from_c)
    step.events += turn.events
    step.replan = True


def bring_on(plan: Plan, state: State, step: Step) -> bool:
    """Lets everything come that is due with the crops. Returns whether any space's bands moved."""
    turn = Turn(plan.given, state.crops, step.now.wall_ms, step.seq)
    moved = advance(turn)
    warm_up(turn, _airs(state))
    step.events += turn.events
    return moved


def _airs(state: State) -> dict[str, Air]:
    airs = {}
    for space in state.spaces:
        temperature = _value(state, space, Quantity.TEMPERATURE)
        humidity = _value(state, space, Quantity.HUMIDITY)
        if temperature is not None and humidity is not None:
            airs[space] = Air(temperature, humidity)
    return airs


def _value(state: State, space: str, quantity: Quantity) -> float | None:
    known = state.spaces.get(space)
    estimate = known.estimates.get(quantity) if known else None
    return estimate.value if estimate is not None and estimate.fresh else None
