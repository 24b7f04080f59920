"""Each fault drill of the bench: the right call, and how soon, beside the goal of `drills.DRILLS`.

One evening in autumn, room and tent. Where a goal is missed the miss stands here with its cause and must stay
within what is written: a figure that gets better than the goal has to be taken out of `MISSED`, so that the
list stays true.
"""

import pytest
from tests.bench.hold_the_room import drills

SEASON = "autumn"

MISSED = {
    ("fan stuck off", "room"): 25.0,
    ("fan stuck off", "tent"): 18.0,
    # A fan that does not run is seen when it should: in the room the first run is asked for eight minutes
    # after the fault, and noise of 10 ppm hides what one run of a minute does. Two or three are waited for.
}
"""By drill and space: minutes it may take, over its goal."""

NEAR = {("mist stuck off", "tent"): 15.0, ("mist stuck off", "room"): 15.0}
"""About ten minutes: dry nozzles show once the air asks for mist, which is sooner or later by the weather."""


@pytest.mark.parametrize("space", ["room", "tent"])
@pytest.mark.parametrize("name", [name for name, drill in drills.DRILLS.items() if drill.within_min])
def test_a_fault_is_told_in_time_or_its_miss_is_known(name: str, space: str) -> None:
    goal = drills.DRILLS[name].within_min
    assert goal is not None
    told = drills.run(name, SEASON, space).told_min
    assert told is not None, "nobody is called for it"
    missed = MISSED.get((name, space))
    if missed is not None:
        assert goal < told <= missed
        return
    assert told <= NEAR.get((name, space), goal)
