"""What a space is in besides growing: somebody inside, being cleaned, picked, aired out, or out of use.

Here: the modes, what is remembered of each, and which hold now. Not here: who may begin one (`mode_acts`),
what follows for relays (`keeping`), which alarms are held back by which mode (`alarm_kinds`). A space has at
most one mode a person chose (`State.modes`) and, beside it, at most one stay of people (`State.stays`), for
people go in while a space is cleaned or picked. What holds for the whole farm is kept under `WHOLE_FARM`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol

WHOLE_FARM = ""
"""Key of what holds for every space: the emergency stop, the mains."""


class Mode(StrEnum):
    """What a space is in. The order is that of `modes_of`, gravest first."""

    EMERGENCY_STOP = "emergency-stop"
    MAINS_OFF = "mains-off"
    PEOPLE_INSIDE = "inside"
    CLEANING = "cleaning"
    HARVEST = "harvest"
    AIRING = "airing"
    """A number of air changes before somebody goes in."""
    EMPTY = "empty"
    """Out of use: nothing grows there."""


MODE_WORDS: dict[Mode, str] = {
    Mode.EMERGENCY_STOP: "emergency stop",
    Mode.MAINS_OFF: "mains gone",
    Mode.PEOPLE_INSIDE: "somebody inside",
    Mode.CLEANING: "being cleaned",
    Mode.HARVEST: "being picked",
    Mode.AIRING: "aired before somebody goes in",
    Mode.EMPTY: "out of use",
}
"""How a person says it."""

_GRAVEST_FIRST = tuple(Mode)

WITH_PEOPLE = (Mode.PEOPLE_INSIDE, Mode.CLEANING, Mode.HARVEST)
"""While these last somebody is taken to be inside a space that can be walked into."""


class By(StrEnum):
    """What began a mode."""

    COMMAND = "command"
    SWITCH = "switch"
    BUTTON = "button"


@dataclass(slots=True)
class ModeState:
    """One mode of one space. Monotonic milliseconds unless a name says wall."""

    mode: Mode
    since_ms: int
    until_ms: int | None
    """Ends by itself then; None: not by the clock alone."""
    since_wall_ms: int
    until_wall_ms: int | None
    """The same by the wall, for a restart."""
    who: str
    why: str
    seq: int
    """Journal number of what began it."""
    by: By = By.COMMAND
    alone: bool = False
    """Of PEOPLE_INSIDE: somebody is called if nobody says they are out in time."""
    door_ms: int = 0
    """Of HARVEST: the door was last open then..."""
    opened: bool = False
    """... once it has been."""
    changes: float = 0.0
    """Of AIRING: air changes wanted."""
    done: float = 0.0
    """Of AIRING: air changes for which the fan was proved to run..."""
    looked_ms: int = 0
    """... up to here."""


@dataclass(slots=True)
class Stays:
    """People inside one space."""

    now: ModeState | None = None
    overdue: bool = False
    """A stay ended by the clock though nobody said they were out; somebody is called."""
    spent: bool = False
    """The switch still says inside, but for so long that it is no longer believed."""
    pressed: bool = False
    """A button is held down: only the next press counts."""
    names: list[str] = field(default_factory=list)
    """Who said that they are inside, and not yet that they are out."""


@dataclass(slots=True)
class Recovery:
    """After picking: ordinary mist brings the air back. Monotonic milliseconds."""

    since_ms: int
    pulses: int = 0


class Kept(Protocol):
    """What keeps the modes (`house.State`)."""

    @property
    def modes(self) -> Mapping[str, ModeState]: ...

    @property
    def stays(self) -> Mapping[str, Stays]: ...


def modes_of(state: Kept, space: str | None) -> tuple[Mode, ...]:
    """Every mode that holds for a space now, gravest first; for None what holds for the whole farm."""
    if not state.modes and not state.stays:
        return ()  # asked for every space at every grant, and nearly always so
    found = [state.modes[key].mode for key in dict.fromkeys((WHOLE_FARM, space or "")) if key in state.modes]
    stay = state.stays.get(space or "")
    if stay is not None and stay.now is not None:
        found.append(Mode.PEOPLE_INSIDE)
    return tuple(sorted(found, key=_GRAVEST_FIRST.index))


def mode_of(state: Kept, space: str | None) -> Mode | None:
    """The gravest mode that holds for a space now; None while it simply grows."""
    return next(iter(modes_of(state, space)), None)
