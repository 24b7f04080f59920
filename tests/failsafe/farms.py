"""Small invented farms with what protects them, on the bench of `core.farm_parts`."""

from dataclasses import replace
from typing import Any

from core.farm_parts import Bench, farm, sensor
from gillhouse.core.guard_settings import ProofSettings
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings, RelaySettings, Role, SensorSettings

CALM = {"room_temp": 17.0, "room_co2": 600.0}
"""Neither heat nor fan wanted."""
FOR_EVER_MS = 10_000_000


def contact(id: str, quantity: Quantity, space: str | None = "room", **more: Any) -> SensorSettings:
    """An on/off input that tells every change at once and is never silent."""
    return sensor(id, quantity, space, **{"on_change": True, "silent_after_ms": FOR_EVER_MS, **more})


def polled(id: str, quantity: Quantity, space: str | None = "room", **more: Any) -> SensorSettings:
    """An on/off input that reports now and then."""
    return contact(id, quantity, space, on_change=False, **more)


def with_relays(settings: FarmSettings, **changes: dict[str, Any]) -> FarmSettings:
    """`settings` with keys of relays changed; `_` stands for `-`."""
    relays = dict(settings.relays)
    for name, more in changes.items():
        relays[name.replace("_", "-")] = replace(relays[name.replace("_", "-")], **more)
    return replace(settings, relays=relays)


def proved_by(sensor_id: str, within_s: float = 10.0) -> dict[str, Any]:
    return {"proofs": (ProofSettings(sensor_id, int(within_s * 1000)),)}


def master(id: str = "master") -> RelaySettings:
    return RelaySettings(id, Role.MASTER, None, advise_only=False)


def guarded(*sensors: SensorSettings, relays: tuple[RelaySettings, ...] = (), **changes: Any) -> FarmSettings:
    """A room with its four relays, more of both, and relay keys changed."""
    return with_relays(farm(sensors=sensors, relays=relays), **changes)


def by_hand(act: Act, subject: str, **more: Any) -> OperatorAction:
    return OperatorAction(act, subject, "Ana", **more)


def override(bench: Bench, relay: str, on: bool, for_s: float = 600.0) -> None:
    bench.give(by_hand(Act.OVERRIDE, relay, on=on, for_ms=int(for_s * 1000), text="tried"))


def refusals(bench: Bench, relay: str) -> list[str]:
    """Why wishes for a relay were not met, each time that changed."""
    return [
        event.reason.value
        for _, event in bench.events
        if event.kind is EventKind.REFUSED and event.subject == relay and event.reason is not None
    ]


def calls(bench: Bench, kind: str, transition: Transition = Transition.ACT) -> list[int]:
    """When an alarm of a kind made a transition, in seconds."""
    return [ms // 1000 for ms, one in bench.notices if one.kind == kind and one.transition is transition]


def state_of(bench: Bench, alarm: str) -> str:
    """The letter an alarm shows."""
    return bench.farm._state.book.records[alarm].state


def is_on(bench: Bench, relay: str) -> bool:
    return bench.farm._state.relays[relay].on
