"""What no program can give, and the grower states to have: the closed list, and the words for each.

Here: data. Not here: when a test is overdue (`reminders`). Every one of these is hardware, tested by hand;
the statement in the farm file says when it last was.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Statement:
    """One of them."""

    title: str
    """As it stands in a list of reminders."""
    test: str
    """How a person tests it."""


STATEMENTS: dict[str, Statement] = {
    # Common practice, no source; who may do which is for local rules and a licensed electrician.
    "pull-resistors": Statement(
        "resistors that hold every relay input off",
        "power the box up, down and up again with no load connected; no relay may click",
    ),
    "emergency-stop": Statement(
        "emergency stop, wired",
        "press it with the loads idle; each must be dead whatever the box says",
    ),
    "people-switch": Statement("people-inside switch", "work it; now must show somebody inside"),
    "residual-current": Statement("residual-current device", "press its test button"),
    "heater-cutout": Statement(
        "over-temperature cut-out of each heater", "as its maker says, by whoever may open it"
    ),
    "pump-cutout": Statement(
        "dry-run and over-pressure cut-out of the pump", "as its maker says, with the pump watched"
    ),
    "hand-valve": Statement("hand valve upstream of the mist", "shut it and open it again"),
    "safe-fan": Statement(
        "the fan's own timer for when the box is dead", "stop the box; the fan must run its minutes"
    ),
    "alarm-sounder": Statement(
        "sounder or dialler on the alarm relay, with its battery", "pull the box's plug; it must sound"
    ),
    "co-alarm": Statement("certified carbon-monoxide alarm", "press its test button"),
}
