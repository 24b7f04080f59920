"""What a person does with batches, and what their dates bring. Dates are worked by hand from the days."""

import json

import pytest

from core.crop_parts import DAY_MS, PALE, Crops
from core.farm_parts import WALL_MS
from gillhouse.core.batch_acts import next_change_ms, restart, shift
from gillhouse.core.batches import CropState, day_of_stage, next_stage, proposal
from gillhouse.core.crops import Stage
from gillhouse.core.inputs import BatchAct
from gillhouse.core.outputs import EventKind
from gillhouse.core.ramps import STEP_MS
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.snapshot import from_plain, to_plain


def only(crops: Crops):
    (batch,) = crops.state.batches.values()
    return batch


@pytest.mark.parametrize(
    ("stage", "after"),
    [
        (Stage.SPAWN_RUN, Stage.PINNING),
        (Stage.PINNING, Stage.FRUITING),
        (Stage.FRUITING, Stage.REST),
        (Stage.REST, Stage.PINNING),
    ],
)
def test_stages_follow_one_another_and_after_the_rest_come_pins(stage: Stage, after: Stage) -> None:
    assert next_stage(PALE, stage) is after


def test_a_stage_that_is_due_is_asked_about_once_and_never_begun() -> None:
    """Spawn run takes 14 to 21 days: asked on day 15, and nothing changes by itself."""
    crops = Crops()
    crops.add()
    found = proposal(crops.settings.species, only(crops))
    assert found is not None
    assert (found.from_wall_ms - crops.ms, found.to_wall_ms - crops.ms) == (14 * DAY_MS, 21 * DAY_MS)
    assert next_change_ms(crops.settings, crops.state) == found.from_wall_ms
    assert crops.wait(13.9 * 24) == []
    assert crops.wait(0.2 * 24) == [Reason.STAGE_DUE]
    assert crops.told[-1].facts["day"] == 15
    assert crops.wait(30 * 24) == []
    assert only(crops).stage is Stage.SPAWN_RUN


def test_yes_to_a_stage_that_is_due_begins_it_now() -> None:
    crops = Crops()
    crops.add()
    crops.wait(15 * 24)
    assert crops.do(BatchAct.ACCEPT) == [Reason.STAGE_BEGUN, Reason.BANDS_MOVING]
    assert (only(crops).stage, only(crops).since_wall_ms) == (Stage.PINNING, crops.ms)


def test_yes_before_the_date_plans_it_for_the_date() -> None:
    crops = Crops()
    crops.add()
    begun = crops.ms
    assert crops.do(BatchAct.ACCEPT) == [Reason.STAGE_PLANNED]
    assert next_change_ms(crops.settings, crops.state) == begun + 14 * DAY_MS
    crops.wait(13.9 * 24)
    assert only(crops).stage is Stage.SPAWN_RUN
    assert crops.wait(0.1 * 24) == [Reason.STAGE_BEGUN, Reason.BANDS_MOVING]
    assert only(crops).since_wall_ms == begun + 14 * DAY_MS
    assert crops.told[-2].facts["who"] == "ana"


def test_not_yet_asks_again_from_the_day_named() -> None:
    crops = Crops()
    crops.add()
    crops.wait(15 * 24)
    assert crops.do(BatchAct.LATER, at_ms=crops.ms + 3 * DAY_MS) == [Reason.STAGE_LATER]
    assert crops.wait(2.9 * 24) == []
    assert crops.wait(0.1 * 24) == [Reason.STAGE_DUE]


def test_not_yet_takes_a_planned_stage_back() -> None:
    crops = Crops()
    crops.add()
    crops.do(BatchAct.ACCEPT)
    crops.do(BatchAct.LATER, at_ms=crops.ms + 20 * DAY_MS)
    crops.wait(19 * 24)
    assert only(crops).stage is Stage.SPAWN_RUN


def test_a_stage_begun_some_days_ago_counts_from_then_but_the_air_moves_from_now() -> None:
    crops = Crops()
    crops.add()
    crops.wait(15 * 24)
    crops.do(BatchAct.STAGE, stage=Stage.PINNING, at_ms=crops.ms - 2 * DAY_MS)
    assert day_of_stage(only(crops), crops.ms) == 3
    assert crops.state.ramps["run"].begun_wall_ms == crops.ms


def test_pins_after_the_rest_are_the_next_flush() -> None:
    crops = Crops()
    crops.add(where="fruit", stage=Stage.PINNING)
    flushes = []
    for stage in (Stage.FRUITING, Stage.REST, Stage.PINNING, Stage.FRUITING, Stage.PINNING):
        crops.do(BatchAct.STAGE, stage=stage)
        flushes.append(only(crops).flush)
    assert flushes == [1, 1, 2, 2, 3]


def test_a_move_leaves_the_stage_and_its_day_and_forgets_the_rack() -> None:
    crops = Crops()
    crops.add(rack="rack 2")
    crops.wait(24)
    since = only(crops).since_wall_ms
    assert crops.do(BatchAct.MOVE, space="fruit")[0] is Reason.BATCH_MOVED
    batch = only(crops)
    assert (batch.space, batch.rack, batch.since_wall_ms) == ("fruit", "", since)
    assert batch.here_since_wall_ms == crops.ms
    moved = next(event for event in crops.told if event.reason is Reason.BATCH_MOVED)
    assert (moved.facts["from_space"], moved.facts["from_rack"]) == ("run", "rack 2")


@pytest.mark.parametrize(
    ("what", "more", "reason"),
    [
        (BatchAct.STAGE, {"batch": "nobody", "stage": Stage.PINNING}, Reason.UNKNOWN_SUBJECT),
        (BatchAct.MOVE, {"space": "attic"}, Reason.UNKNOWN_SUBJECT),
        (BatchAct.MOVE, {}, Reason.NOT_BELIEVABLE),
        (BatchAct.MOVE, {"space": "fruit", "at_ms": WALL_MS + DAY_MS}, Reason.DATE_AHEAD),
        (BatchAct.END, {"at_ms": WALL_MS + DAY_MS}, Reason.DATE_AHEAD),
        (BatchAct.END, {"at_ms": 1 << 50}, Reason.NOT_BELIEVABLE),
        (BatchAct.STAGE, {"stage": Stage.REST, "at_ms": -1}, Reason.NOT_BELIEVABLE),
        (BatchAct.STAGE, {"stage": None}, Reason.STAGE_UNKNOWN),
        (
            BatchAct.ADD,
            {"space": "run", "species": "pale-cap", "stage": Stage.REST, "kg": 1.0},
            Reason.BATCH_EXISTS,
        ),
        (
            BatchAct.ADD,
            {"batch": "b2", "space": "run", "species": "moss", "stage": Stage.REST, "kg": 1.0},
            Reason.UNKNOWN_SUBJECT,
        ),
        (
            BatchAct.ADD,
            {"batch": "b2", "space": "run", "species": "cold-cap", "stage": Stage.REST, "kg": 1.0},
            Reason.STAGE_UNKNOWN,
        ),
        (
            BatchAct.ADD,
            {"batch": "b2", "space": "run", "species": "pale-cap", "stage": Stage.REST, "kg": -1},
            Reason.NOT_BELIEVABLE,
        ),
        (
            BatchAct.ADD,
            {"batch": "b2", "space": "run", "species": "pale-cap", "stage": Stage.REST, "kg": float("nan")},
            Reason.NOT_BELIEVABLE,
        ),
        (
            BatchAct.ADD,
            {"batch": "b2", "species": "pale-cap", "stage": Stage.REST, "kg": 1.0},
            Reason.NOT_BELIEVABLE,
        ),
        (BatchAct.LATER, {}, Reason.NOTHING_PROPOSED),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason_and_changes_nothing(what, more, reason) -> None:
    crops = Crops()
    crops.add()
    before = to_plain(crops.state)
    given = {"batch": "b1", **more}
    assert crops.do(what, given.pop("batch"), **given) == [reason]
    event = crops.told[-1]
    assert event.kind is EventKind.REFUSED
    assert WORDS[reason].format(**event.facts)
    assert to_plain(crops.state) == before


def test_an_ended_batch_is_gone_and_cannot_be_moved() -> None:
    crops = Crops()
    crops.add()
    assert crops.do(BatchAct.END, text="green mould")[0] is Reason.BATCH_ENDED
    assert crops.told[-1].facts.get("text") == "green mould" or crops.told[-2].facts["text"] == "green mould"
    assert not crops.state.batches
    assert crops.do(BatchAct.MOVE, space="fruit") == [Reason.UNKNOWN_SUBJECT]


def test_everything_told_can_be_worded_and_the_state_goes_through_a_snapshot() -> None:
    crops = Crops()
    crops.add()
    crops.do(BatchAct.STAGE, stage=Stage.PINNING)
    crops.do(BatchAct.MOVE, space="fruit", rack="rack 1")
    crops.do(BatchAct.STAGE, stage=Stage.FRUITING, at_ms=crops.ms + DAY_MS)
    crops.do(BatchAct.LATER, at_ms=crops.ms + 2 * DAY_MS)
    for _ in range(12):
        crops.wait(24)
    for event in crops.told:
        assert WORDS[event.reason].format(**event.facts)
    plain = json.loads(json.dumps(to_plain(crops.state)))
    assert from_plain(CropState, plain) == crops.state


def test_setting_the_clock_neither_ends_nor_stretches_a_ramp() -> None:
    """A year forward, as of a board without a battery clock: the ramp goes on where it was."""
    crops = Crops()
    crops.add()
    crops.do(BatchAct.STAGE, stage=Stage.PINNING)
    crops.wait(1)
    year_ms = 365 * DAY_MS
    shift(crops.state, year_ms)
    crops.ms += year_ms
    crops.wait(0)
    assert crops.state.ramps["run"].reached_ms == 4 * STEP_MS
    crops.ms -= 2 * year_ms  # a restart under a clock that lost two years
    restart(crops.state, crops.ms)
    crops.wait(24)
    assert not crops.state.ramps


def test_a_species_that_left_the_config_leaves_its_batch_without_a_wish() -> None:
    from dataclasses import replace

    from gillhouse.core.in_force import in_force

    crops = Crops()
    crops.add(where="fruit")
    crops.wait(24)
    crops.settings = replace(crops.settings, species={})
    assert in_force(crops.settings, crops.state).spaces["fruit"] == crops.settings.spaces["fruit"]
    assert next_change_ms(crops.settings, crops.state) is None
