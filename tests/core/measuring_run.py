"""The measuring run's own state machine on the simulated room: asks are obeyed, looks come from sensors."""

from dataclasses import replace

from core.farm_parts import farm, space
from core.measured_room import MeasuredRoom
from gillhouse.core.instant import Instant
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings
from gillhouse.core.step_fit import AirFit, AirRecord, MistFit, MistRecord, fit_air, fit_mist
from gillhouse.core.step_plan import Phase, RunPlan, Stop, plan_run
from gillhouse.core.step_test import Look, RunState, advance, asks, begin

WALL_MS = 1_760_000_000_000
SETTLE_MS = 180_000
LABEL_L_PER_H = 24.0


def settings(volume_m3: float = 60.0) -> FarmSettings:
    """A room of this size whose mist has a label of 24 L/h."""
    made = farm(space(volume_m3=volume_m3, crop_kg=240.0))
    mist = replace(made.relays["room-mist"], litres_per_h=LABEL_L_PER_H)
    return replace(made, relays={**made.relays, "room-mist": mist})


class MeasuringRun:
    """Between asks humidity is held by a plain rule, as the farm would hold it in its own way."""

    def __init__(self, room: MeasuredRoom, plan: RunPlan | None = None) -> None:
        found = plan or plan_run(settings(room.plan.volume_m3), "room")
        assert isinstance(found, RunPlan)
        self.room, self.plan, self.state = room, found, RunState()
        self.people = self.door = False
        self.link_up = True
        self.blind = False

    def now(self) -> Instant:
        return Instant(WALL_MS + self.room.ms, self.room.ms)

    def look(self) -> Look:
        said = {q: (values[-1][1] if values else None) for q, values in self.room.said.items()}
        return Look(
            None if self.blind else said[Quantity.CO2],
            said[Quantity.HUMIDITY],
            said[Quantity.TEMPERATURE],
            self.door,
            self.people,
            self.link_up,
            bool(self.room.spans["fan"]) and self.room.spans["fan"][-1][1] == self.room.ms,
        )

    def begin(self) -> Stop | None:
        return begin(self.plan, self.state, self.look(), self.now(), "ana")

    def run(self, minutes: float) -> None:
        """Time goes by until the run ends or `minutes` are over."""
        end = self.room.ms + int(minutes * 60_000)
        while self.room.ms < end and self.state.running:
            advance(self.plan, self.state, self.look(), self.now())
            asked = asks(self.plan, self.state, self.now(), 1)
            wanted = {ask.relay.removeprefix("room-"): ask.on for ask in asked}
            dry = self.room.said[Quantity.HUMIDITY][-1][1] < 88.0 and self.room.ms % 120_000 < 8_000
            self.room.switch("fan", wanted.get("fan", False))
            self.room.switch("mist", wanted.get("mist", dry))
            self.room.run(2)

    def mark_ms(self, phase: str) -> int:
        return self.state.marks[phase] - WALL_MS

    def air(self) -> AirFit:
        assert self.state.phase is Phase.DONE
        span = (self.mark_ms("rest") + SETTLE_MS, self.room.ms)
        said = self.room.said[Quantity.CO2]
        return fit_air(AirRecord(self.room.plan.volume_m3, said, self.room.spans["fan"], span, 425.0))

    def mist(self) -> MistFit:
        return fit_mist(
            MistRecord(
                self.room.plan.volume_m3,
                self.room.said[Quantity.HUMIDITY],
                self.room.said[Quantity.TEMPERATURE],
                self.room.spans["mist"],
                LABEL_L_PER_H,
                (self.mark_ms("mist"), self.mark_ms("again")),
            )
        )
