"""Bringing commands to the right relay, and its echoes back."""

import pytest

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import RelayError
from gillhouse.payloads import Message
from gillhouse.relays import Relays
from gillhouse.relays.memory import MemoryDriver, Switching
from relays.ports import ports_of

NOW = Instant(1_795_608_000_000, 0)


def command(relay: str, on: bool = True, lease_ms: int = 5_000, *, advise: bool = False) -> Command:
    return Command(relay, on, lease_ms, Authority.DEMAND, Reason.AIR_DRY, advise=advise)


def memory(relays: Relays, relay: str) -> MemoryDriver:
    driver = relays.drivers[relay]
    assert isinstance(driver, MemoryDriver)
    return driver


def test_each_command_reaches_its_relay_alone() -> None:
    relays = Relays.wired([RelayWire("fan", "memory"), RelayWire("mist", "memory")], ports_of())
    relays.apply(command("mist"), NOW)
    assert memory(relays, "mist").is_on(NOW)
    assert memory(relays, "fan").history(NOW) == ()


def test_the_history_keeps_the_newest_clicks_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gillhouse.relays.memory.KEPT", 4)
    relays = Relays.wired([RelayWire("mist", "memory")], ports_of())
    for turn in range(5):
        relays.apply(command("mist", lease_ms=1_000), NOW.later(10_000 * turn))
    clicks = memory(relays, "mist").history(NOW.later(60_000))
    assert [(one.at_ms, one.on) for one in clicks] == [
        (30_000, True), (31_000, False), (40_000, True), (41_000, False),
    ]  # fmt: skip


def test_the_history_tells_who_let_go() -> None:
    relays = Relays.wired([RelayWire("mist", "memory")], ports_of())
    relays.apply(command("mist"), NOW)
    relays.apply(command("mist"), NOW.later(4_000))  # renewed to 9 s
    relays.apply(command("mist", lease_ms=1_000), NOW.later(20_000))
    relays.apply(command("mist", on=False, lease_ms=0), NOW.later(20_500))
    assert memory(relays, "mist").history(NOW.later(30_000)) == (
        Switching(0, True), Switching(9_000, False, by_itself=True),
        Switching(20_000, True), Switching(20_500, False),
    )  # fmt: skip


def test_advice_goes_nowhere_even_for_a_relay_that_is_not_wired() -> None:
    relays = Relays.wired([RelayWire("fan", "memory")], ports_of())
    relays.apply(command("fan", advise=True), NOW)
    relays.apply(command("ghost", advise=True), NOW)
    assert memory(relays, "fan").history(NOW) == ()


def test_an_unknown_relay_is_named() -> None:
    with pytest.raises(RelayError, match="no relay 'ghost'; known: fan"):
        Relays.wired([RelayWire("fan", "memory")], ports_of()).apply(command("ghost"), NOW)


def test_an_unknown_driver_is_named() -> None:
    with pytest.raises(
        ValueError, match="relay fan: no driver 'steam'; use one of mqtt, memory, gpio, modbus"
    ):
        Relays.wired([RelayWire("fan", "steam")], ports_of())


def test_all_off_reaches_every_relay() -> None:
    relays = Relays.wired([RelayWire("fan", "memory"), RelayWire("mist", "memory")], ports_of())
    relays.apply(command("fan"), NOW)
    relays.apply(command("mist"), NOW)
    relays.all_off(NOW.later(1_000))
    assert [memory(relays, relay).is_on(NOW.later(1_000)) for relay in ("fan", "mist")] == [False, False]


def test_one_boards_word_speaks_for_all_its_relays() -> None:
    wires = [
        RelayWire(
            relay, "mqtt", f"board/{relay}/set", state_topic=f"board/{relay}", available_topic="board/alive"
        )
        for relay in ("one", "two")
    ]
    relays = Relays.wired(wires, ports_of())
    assert relays.topics() == ("board/one", "board/alive", "board/two")
    assert relays.report(Message("board/alive", b"offline", NOW)) == (
        RelayReport("one", None, available=False), RelayReport("two", None, available=False),
    )  # fmt: skip
    assert relays.report(Message("board/two", b"ON", NOW)) == (RelayReport("two", True),)
    assert relays.report(Message("elsewhere", b"ON", NOW)) == ()
