"""What a person's checking of a sensor does to the farm's state: corrections, and sensors out of their place.

What lives here: the two inputs' functions, of the shape of those in `arrivals`. What must not: the arithmetic
(see `calibration`), what a single reading becomes (see `truth`).
"""

from gillhouse.core import findings, truth
from gillhouse.core.arrivals import Step, renew
from gillhouse.core.calibration import WORKING, Calibration, correct
from gillhouse.core.house import Plan, State
from gillhouse.core.inputs import Calibrated, SensorsAway
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.core.readings import Mark, Quality
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import SensorSettings
from gillhouse.core.space_plan import AIR_QUANTITIES

_UNIT = {Quantity.HUMIDITY: "%", Quantity.TEMPERATURE: "C", Quantity.CO2: "ppm"}


def take_calibrated(plan: Plan, state: State, step: Step, item: Calibrated) -> None:
    """Puts a correction in force from the sensor's next reading on, or takes the last one back."""
    sensor = plan.settings.sensors.get(item.sensor)
    known = item.calibration
    if sensor is None or (known is not None and known.quantity is not sensor.quantity):
        facts: Facts = {"subject": item.sensor, "who": item.who}
        _tell(step, EventKind.REFUSED, item.sensor, None, (Reason.UNKNOWN_SUBJECT, facts))
        return
    if not truth.take_calibrated(state.truth, item):
        none: Facts = {"sensor": item.sensor, "who": item.who}
        _tell(step, EventKind.REFUSED, item.sensor, sensor.space, (Reason.NOTHING_TO_UNDO, none))
        return
    truth.start_anew(state.sensors[sensor.id])
    undone: Facts = {"sensor": item.sensor, "who": item.who}
    told = (Reason.CALIBRATION_UNDONE, undone)
    if known is not None:
        told = (Reason.CALIBRATED, _facts(item.who, sensor, known))
    _tell(step, EventKind.SENSOR, sensor.id, sensor.space, told)
    step.events += findings.look(plan, state, step.seq, step.now)


def take_away(plan: Plan, state: State, step: Step, item: SensorsAway) -> None:
    """Takes sensors out of all that is decided until they are back in their place."""
    known = [sensor for sensor in item.sensors if sensor in plan.settings.sensors]
    for name in item.sensors:
        if name not in known:
            facts: Facts = {"subject": name, "who": item.who}
            _tell(step, EventKind.REFUSED, name, None, (Reason.UNKNOWN_SUBJECT, facts))
    truth.take_away(state.truth, SensorsAway(tuple(known), item.who, item.for_ms), step.now.wall_ms)
    for name in known:
        sensor, one = plan.settings.sensors[name], state.sensors[name]
        truth.start_anew(one)
        if one.silent:
            continue
        one.quality, one.mark = Quality.SUSPECT, Mark.AWAY
        if sensor.quantity in AIR_QUANTITIES:
            renew(plan, state, step, sensor)
        else:
            step.grant = True
    step.events += findings.look(plan, state, step.seq, step.now)


def _facts(who: str, sensor: SensorSettings, known: Calibration) -> Facts:
    at = WORKING[sensor.quantity]
    return {
        "who": who,
        "sensor": sensor.id,
        "against": " and ".join(point.against for point in known.points),
        "slope": round(known.slope, 6),
        "offset": round(known.offset, 4),
        "shift": round(correct(known, at) - at, 2),
        "at": at,
        "unit": _UNIT.get(sensor.quantity, MEASURES[sensor.quantity].unit),
        "error": round(known.error, 2),
        "due_ms": known.due_ms,
    }


def _tell(step: Step, kind: EventKind, subject: str, space: str | None, told: tuple[Reason, Facts]) -> None:
    step.events.append(Event(kind, subject, space, *told, (step.seq,)))
