"""Who may do what. The roles are our own; every act is walked, so that a new one is an owner's alone."""

import pytest

from gillhouse.core.edges import HELPER_RUN_MS, PersonRole, PersonSettings
from gillhouse.core.inputs import Act, BatchAct, BatchAction, Calibrated, Measure, OperatorAction
from gillhouse.core.permits import Actor, actor, refusal

PEOPLE = (
    PersonSettings("ana", "Ana", (), logins=("ana",)),
    PersonSettings("beno", "Beno", (), role=PersonRole.HELPER, logins=("beno",)),
    PersonSettings("gast", "Gast", (), role=PersonRole.GUEST),
)
FOR_A_HELPER = {
    "note", "ack", "pass-on", "hosed", "dry", "cleaned", "flushed", "drained", "override", "release",
    "inside", "over",
}  # fmt: skip


@pytest.mark.parametrize("act", Act)
def test_each_act_by_each_role(act: Act) -> None:
    item = OperatorAction(act, "tent", "x", for_ms=HELPER_RUN_MS)
    assert refusal(PersonRole.OWNER, item) == ""
    assert (refusal(PersonRole.HELPER, item) == "") is (act.value in FOR_A_HELPER)
    assert (refusal(PersonRole.GUEST, item) == "") is (act.value in ("inside", "over"))


@pytest.mark.parametrize(("for_ms", "may"), [(1, True), (1_200_000, True), (1_200_001, False), (None, False)])
def test_a_helper_runs_a_relay_for_twenty_minutes_at_most(for_ms: int | None, may: bool) -> None:
    item = OperatorAction(Act.OVERRIDE, "tent-fan", "beno", on=True, for_ms=for_ms)
    assert (refusal(PersonRole.HELPER, item) == "") is may
    assert refusal(PersonRole.OWNER, item) == ""


@pytest.mark.parametrize(
    "item", [BatchAction(BatchAct.END, "B1", "x"), Calibrated("rh", None, "x"), Measure("tent", "x")]
)
def test_all_else_is_an_owners(item: BatchAction | Calibrated | Measure) -> None:
    assert refusal(PersonRole.OWNER, item) == ""
    assert refusal(PersonRole.HELPER, item) and refusal(PersonRole.GUEST, item)


@pytest.mark.parametrize(
    ("login", "named", "found"),
    [
        ("ana", "", Actor("ana", PersonRole.OWNER)),
        ("beno", "", Actor("beno", PersonRole.HELPER)),
        ("farm", "", Actor("farm", PersonRole.OWNER)),
        ("farm", "beno", Actor("beno (farm)", PersonRole.HELPER)),
        ("farm", "gast", Actor("gast (farm)", PersonRole.GUEST)),
        ("beno", "ana", Actor("ana (beno)", PersonRole.HELPER)),  # a name takes rights, and gives none
        ("ana", "beno", Actor("beno (ana)", PersonRole.HELPER)),
        ("farm", "nobody", None),
    ],
)
def test_who_somebody_is(login: str, named: str, found: Actor | None) -> None:
    assert actor(PEOPLE, login, named) == found
