"""What the on/off sensors of a space say: its door, whether somebody is inside.

Reads only. A sensor that does not drive (silent, doubted, taken away) says nothing; of several one is enough
to say yes. A push button says nothing here: its presses are moments, not states (see `keeping`).
"""

from gillhouse.core.house import Plan, State
from gillhouse.core.quality import drives
from gillhouse.core.quantities import Quantity


def said(plan: Plan, state: State, quantity: Quantity, space: str) -> bool | None:
    """Whether any switch of a space says so; None where none can say."""
    sensors = plan.settings.sensors
    own = [name for name in plan.switches[quantity].get(space, ()) if not sensors[name].button]
    told = [value for value in (is_on(state, sensor) for sensor in own) if value is not None]
    return any(told) if told else None


def switched(plan: Plan, state: State, quantity: Quantity) -> dict[str, bool | None]:
    """By space that has a switch of this quantity: what it says."""
    return {space: said(plan, state, quantity, space) for space in plan.switches[quantity]}


def is_on(state: State, sensor: str) -> bool | None:
    """What one sensor says; None where it cannot."""
    known = state.sensors[sensor]
    return known.good_value >= 0.5 if drives(known) and known.good_value is not None else None
