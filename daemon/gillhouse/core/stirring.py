"""The circulation fan: runs while two places of a space are further apart than their sensors' errors explain.

It brings no fresh air, it only evens out what is there; so it needs two sensors of a quantity, and a timed
programme does where there is one. Nothing here looks at the band.
"""

from dataclasses import dataclass

from gillhouse.core.demand import Known, Wish
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason

UNEVEN_FROM: dict[Quantity, float] = {Quantity.HUMIDITY: 6.0, Quantity.TEMPERATURE: 1.5}
"""So far apart, in points and kelvin, and the air is stirred: twice what two cheap sensors may differ by in
the same air. Our choice."""

EVEN_FROM = 0.5
"""It rests again once they are within this share of it."""


@dataclass(slots=True)
class StirState:
    on: bool = False


def stir(known: dict[Quantity, Known], state: StirState) -> Wish:
    """What the circulation fans of a space should do. A value that is only held says nothing."""
    worst: Wish | None = None
    most = EVEN_FROM if state.on else 1.0
    for quantity, far in UNEVEN_FROM.items():
        estimate = known.get(quantity)
        if estimate is None or estimate.value is None or estimate.held or estimate.spread < most * far:
            continue
        most = estimate.spread / far
        facts = {"quantity": quantity.value, "value": round(estimate.spread, 2), "limit": far}
        worst = Wish(True, Reason.UNEVEN, None, estimate.seqs, facts)
    state.on = worst is not None
    return worst or Wish(False, Reason.IN_BAND)
