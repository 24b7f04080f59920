"""A room with a door switch, a people switch, a button and boards that answer, for tests of the modes."""

from dataclasses import replace

from core.farm_parts import WALL_MS, Bench, farm, sensor, space
from gillhouse.core.inputs import Act, OperatorAction, RelayReport
from gillhouse.core.outputs import Outcome
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, RelaySettings, Role, SpaceKind

MINUTE_S = 60
HOUR_S = 3600
CALM = {"room_temp": 17.0, "room_co2": 700.0}
DRY = {**CALM, "room_rh": 80.0}


def room(walk_in: bool = True, echo: bool = True, **more: object) -> FarmSettings:
    """One room of 20 m3; its fan moves 120 m3/h, six air changes an hour."""
    made = farm(
        space(walk_in=walk_in, kind=SpaceKind.ROOM),
        sensors=(
            sensor("door", Quantity.DOOR, "room", silent_after_ms=10**10),
            sensor("people", Quantity.PEOPLE, "room", silent_after_ms=10**10),
            sensor("press", Quantity.PEOPLE, "room", silent_after_ms=10**10, button=True),
        ),
        relays=(RelaySettings("lamp", Role.UV, "room", advise_only=False),),
        **more,
    )
    relays = {
        name: replace(one, not_with_people=one.role is Role.MIST, echo_within_ms=5_000 if echo else None)
        for name, one in made.relays.items()
    }
    return replace(made, relays=relays)


class Room(Bench):
    """Boards echo every command at once, unless `deaf`."""

    def __init__(self, settings: FarmSettings | None = None, deaf: bool = False) -> None:
        self.deaf = deaf
        super().__init__(settings or room())
        self.read(door=0.0, people=0.0, press=0.0)  # nothing that floods or harms goes on before they report

    def give(self, item: object) -> Outcome:
        out = super().give(item)  # type: ignore[arg-type]
        for command in out.commands:
            if not self.deaf and not command.renewal:
                super().give(RelayReport(command.relay, command.on))
        return out

    def does(self, act: Act, subject: str = "room", who: str = "Ana", **more: object) -> Outcome:
        return self.give(OperatorAction(act, subject, who, **{"text": "a trial", **more}))  # type: ignore[arg-type]

    def air(self, minutes: float, **values: float) -> None:
        """The same air for a while, a reading every half minute."""
        self.every(30, int(minutes * 2), **{**DRY, **values})

    def is_on(self, relay: str) -> bool:
        """By commands alone: on, and its lease not over."""
        last = None
        for ms, command in self.commands:
            if command.relay == relay:
                last = (ms, command)
        return last is not None and last[1].on and self.ms < last[0] + last[1].lease_ms

    def told(self, reason: Reason) -> list[dict[str, object]]:
        return [dict(event.facts) for _, event in self.events if event.reason is reason]

    def called(self, kind: str) -> list[str]:
        return [notice.transition.value for _, notice in self.notices if notice.kind == kind]

    def announced(self, kind: str) -> bool:
        return any(notice.announce for _, notice in self.notices if notice.kind == kind)


__all__ = ["CALM", "DRY", "HOUR_S", "MINUTE_S", "WALL_MS", "Room", "room"]
