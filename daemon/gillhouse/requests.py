"""What the command line may ask of the running daemon over its local socket, one function a request.

Each takes the house, the request and who asks; each answers with plain JSON. A new request is one function
and one row in `REQUESTS`.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from gillhouse.core.calibration import Calibration, calibration
from gillhouse.core.edges import PersonRole, PersonSettings
from gillhouse.core.inputs import (
    Act,
    BatchAction,
    Calibrated,
    Input,
    Measure,
    Measured,
    OperatorAction,
    SensorsAway,
)
from gillhouse.core.measurement import Measurement, believable
from gillhouse.core.outputs import Outcome
from gillhouse.core.permits import actor, refusal
from gillhouse.core.snapshot import from_plain, to_plain
from gillhouse.errors import GillhouseError, LocalError

LONGEST_TEXT = 500
"""Characters of a note or a reason; more is cut."""


BATCH_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,23}")
"""What a batch may be called: short, and safe in a file's name."""


class House(Protocol):
    """What a request may use of the service."""

    def submit(self, item: Input) -> Outcome: ...

    def status(self) -> dict[str, Any]: ...

    @property
    def people(self) -> tuple[PersonSettings, ...]: ...


class _As:
    """The house for one person: what their role may not do never reaches it."""

    def __init__(self, house: House, role: PersonRole) -> None:
        self._house, self._role = house, role
        self.people = house.people

    def submit(self, item: Input) -> Outcome:
        why = refusal(self._role, item)
        if why:
            raise LocalError(why)
        return self._house.submit(item)

    def status(self) -> dict[str, Any]:
        return self._house.status()


def _status(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    return house.status()


def _act(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    action = OperatorAction(
        act=Act(request["act"]),
        subject=str(request["subject"]),
        who=who,
        text=str(request.get("text", ""))[:LONGEST_TEXT],
        on=request.get("on"),
        for_ms=request.get("for_ms"),
        occurrence=request.get("occurrence"),
        amount=None if request.get("amount") is None else float(request["amount"]),
        corrects=None if request.get("corrects") is None else int(request["corrects"]),
    )
    outcome: dict[str, Any] = to_plain(house.submit(action))
    return outcome


def batch_action(request: dict[str, Any], who: str) -> BatchAction:
    """What a request says of a batch.

    Raises:
        ValueError: a figure of the wrong kind, an unknown key, or a name no batch may have.
    """
    given = {name: value for name, value in request.items() if name != "ask"}
    name = given.get("batch")
    if not isinstance(name, str) or BATCH_ID.fullmatch(name) is None:
        raise ValueError(f"a batch cannot be called {name!r}; take 1 to 24 letters, digits, '.', '_' or '-'")
    for field in ("text", "rack"):
        if isinstance(given.get(field), str):
            given[field] = given[field][:LONGEST_TEXT]
    return from_plain(BatchAction, {**given, "who": who}, "batch")


def _batch(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    outcome: dict[str, Any] = to_plain(house.submit(batch_action(request, who)))
    return outcome


def calibrated(request: dict[str, Any], who: str) -> Calibrated:
    """What a request says of a sensor's check. The correction is worked out again from its points.

    Raises:
        CalibrationError, ValueError: the points cannot be used; it says why.
    """
    plain, known = request["calibration"], None
    if plain is not None:
        said = from_plain(Calibration, plain, "calibration")
        points = [replace(point, against=point.against[:LONGEST_TEXT]) for point in said.points]
        known = calibration(said.quantity, points, said.made_ms, who)
    return Calibrated(str(request["sensor"]), known, who)


def sensors_away(request: dict[str, Any], who: str) -> SensorsAway:
    """Which sensors a request takes out of their place, or puts back."""
    return SensorsAway(tuple(map(str, request["sensors"])), who, int(request["for_ms"]))


CHECKS: dict[str, Callable[[dict[str, Any], str], Calibrated | SensorsAway]] = {
    "calibrate": calibrated,
    "away": sensors_away,
}
"""Requests about the checking of sensors; they can also be recorded while no daemon runs."""


def _checked(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    outcome: dict[str, Any] = to_plain(house.submit(CHECKS[request["ask"]](request, who)))
    return outcome


def _measure(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    item = Measure(str(request["space"]), who, request.get("begin", True) is True)
    outcome: dict[str, Any] = to_plain(house.submit(item))
    return outcome


def _measured(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    plain = request["found"]
    found = None if plain is None else from_plain(Measurement, plain, "found")
    if found is not None and not believable(found):
        raise ValueError("these figures are not those of any space; measure again")
    outcome: dict[str, Any] = to_plain(house.submit(Measured(str(request["space"]), who, found)))
    return outcome


REQUESTS: dict[str, Callable[[House, dict[str, Any], str], dict[str, Any]]] = {
    "status": _status,
    "act": _act,
    "batch": _batch,
    "calibrate": _checked,
    "away": _checked,
    "measure": _measure,
    "measured": _measured,
}


def answer(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    """The reply to one request, or `{"error": words}`.

    `who` is the user of the machine; a key `who` in the request is the person they say they are.
    """
    request = dict(request)
    named = str(request.pop("who", ""))
    asks = actor(house.people, who, named)
    if asks is None:
        known = ", ".join(one.id for one in house.people) or "nobody"
        return {"error": f"there is no person {named!r} in the config; known are {known}"}
    handler = REQUESTS.get(str(request.get("ask")))
    if handler is None:
        return {"error": f"unknown request {request.get('ask')!r}, known are {', '.join(REQUESTS)}"}
    try:
        return handler(_As(house, asks.role), request, asks.who)
    except (GillhouseError, KeyError, ValueError) as error:
        return {"error": str(error)}
