"""What proves that a load runs, and on/off inputs that come as numbers: keys that must agree.

Not here: words of contacts (`checks`), relays otherwise (`relay_checks`).
"""

from gillhouse.config import wire_file as wf
from gillhouse.config.draft import Draft
from gillhouse.config.tree import Key
from gillhouse.config.wording import got
from gillhouse.core.quantities import MEASURES, PROOFS, UNITS


def check_number(draft: Draft, here: Key, sensor: wf.MeasuredGroup) -> None:
    """Of a sensor that sends a number: its unit, or what the number means where the input is on or off."""
    if not MEASURES[sensor.quantity].on_off:
        _unit(draft, here, sensor)
        return
    if sensor.quantity not in PROOFS:
        draft.sheet.add(
            (*here, "format"), f"{sensor.quantity} is on or off; write format: words, and name its two words"
        )
        return
    if (sensor.pulses is None) == (sensor.over is None):
        draft.sheet.add(
            here,
            f"{sensor.quantity} as a number needs either pulses (a count that grows: so much more since the"
            " last report means on) or over (on above this number), one of the two",
        )
    if sensor.unit not in (None, "1"):
        draft.sheet.add(
            (*here, "unit"),
            f"{sensor.quantity} is on or off, it has no unit (got {got(sensor.unit)}); delete it",
        )


def _unit(draft: Draft, here: Key, sensor: wf.MeasuredGroup) -> None:
    given = ", ".join(UNITS[sensor.quantity])
    if sensor.unit is None:
        draft.sheet.add((*here, "unit"), f"is missing; write one of: {given}")
    elif sensor.unit not in UNITS[sensor.quantity]:
        draft.sheet.add(
            (*here, "unit"),
            f"is no unit of {sensor.quantity} (got {got(sensor.unit)}); write one of: {given}",
        )
    for name in ("pulses", "over", "on_change"):
        if getattr(sensor, name) not in (None, False):
            draft.sheet.add(
                (*here, name), f"means nothing for {sensor.quantity}, which is measured; delete it"
            )
