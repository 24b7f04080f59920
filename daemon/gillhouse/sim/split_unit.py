"""An actor nobody tells the farm of: a split unit that cools by a thermostat of its own.

It takes water out of the air as well, at its coil; what it takes is in the room's own step (`room.COIL_C`).
Not here: that physics, and any relay: it is not switched by anybody.
"""

from dataclasses import dataclass

from gillhouse.sim.room import Room


@dataclass(slots=True)
class SplitUnit:
    """Cools at full power from `set_c + swing_k` down to `set_c - swing_k`."""

    cools_w: float
    set_c: float = 16.0
    swing_k: float = 0.7
    on: bool = False

    def act(self, room: Room) -> None:
        """Looks at the room's air and sets its part of the drive, before a step."""
        if room.temperature_c > self.set_c + self.swing_k:
            self.on = True
        elif room.temperature_c < self.set_c - self.swing_k:
            self.on = False
        room.drive.cooler_w = self.cools_w if self.on else 0.0
