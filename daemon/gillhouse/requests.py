"""What the command line may ask of the running daemon over its local socket, one function a request.

Each takes the house, the request and who asks; each answers with plain JSON. A new request is one function
and one row in `REQUESTS`.
"""

from collections.abc import Callable
from typing import Any, Protocol

from gillhouse.core.inputs import Act, Input, OperatorAction
from gillhouse.core.outputs import Outcome
from gillhouse.core.snapshot import to_plain
from gillhouse.errors import GillhouseError

LONGEST_TEXT = 500
"""Characters of a note or a reason; more is cut."""


class House(Protocol):
    """What a request may use of the service."""

    def submit(self, item: Input) -> Outcome: ...

    def status(self) -> dict[str, Any]: ...


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
    )
    outcome: dict[str, Any] = to_plain(house.submit(action))
    return outcome


REQUESTS: dict[str, Callable[[House, dict[str, Any], str], dict[str, Any]]] = {
    "status": _status,
    "act": _act,
}


def answer(house: House, request: dict[str, Any], who: str) -> dict[str, Any]:
    """The reply to one request, or `{"error": words}`."""
    handler = REQUESTS.get(str(request.get("ask")))
    if handler is None:
        return {"error": f"unknown request {request.get('ask')!r}, known are {', '.join(REQUESTS)}"}
    try:
        return handler(house, request, who)
    except (GillhouseError, KeyError, ValueError) as error:
        return {"error": str(error)}
