"""Control rules side by side in a room that is only simulated: how close to what the plant can do at all.

Run it from the checkout's top:

    python -m tests.bench.hold_the_room                        all: 4 seasons, 3 spaces, every rule, 14 days
    python -m tests.bench.hold_the_room --days 3 --spaces room --seasons autumn --rules ours,limit
    python -m tests.bench.hold_the_room --set held-back         sizes and seeds that nobody tunes on
    python -m tests.bench.hold_the_room --write                 also docs/reference/hold-the-room.md

How it works: one space (`spaces`), one season's air (`seasons`) and one rule (`rules`, `limit`) make a cell.
A cell's plant (`plant`) is the simulator's room with sensors, a door and relays that let go at the end of a
command's lease; the rule sees only what the sensors say. `ours` is `core.farm.Farm`, driven through its one
entry: no broker, file or thread. `limit` knows the truth and has continuous actuators. All figures (`merits`)
come from the true air. What the farm is told is wrong on purpose: labels by up to 40 %, sensors by a bias.

    python -m tests.bench.hold_the_room --trace autumn,room,ours --days 1      ten minutes a line
    python -m tests.bench.hold_the_room --drills           faults, and how soon they are told
"""
