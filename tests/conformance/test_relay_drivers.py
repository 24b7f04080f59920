"""What every relay driver must do, run over all of `relays.DRIVERS` with a timed history of the clicks.

Each runs on a stand of its own (`relays.stands`): gpio on gpiozero's pretended pins, modbus against
pymodbus's own server over TCP and over a serial line, mqtt against a board behind mosquitto.
"""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from gillhouse.core.inputs import RelayReport
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import RelayError
from gillhouse.payloads import Message
from gillhouse.relays import DRIVERS
from relays.stands import STANDS, Stand
from servers import MosquittoBroker, wait_until


def test_every_driver_has_a_stand() -> None:
    assert {name.partition("-")[0] for name in STANDS} == DRIVERS.keys()


@pytest.fixture(params=STANDS)
def cold(request: pytest.FixtureRequest, broker: MosquittoBroker) -> Iterator[Stand]:
    """Not started yet."""
    made = STANDS[request.param](broker)
    yield made
    made.close()


@pytest.fixture
def stand(cold: Stand) -> Stand:
    cold.driver.start(cold.now())
    cold.becomes(False, 0.5)
    return cold


def on(lease_ms: int, **more: bool) -> Command:
    return Command("tent-mist", True, lease_ms, Authority.DEMAND, Reason.AIR_DRY, **more)


OFF = Command("tent-mist", False, 0, Authority.DEMAND, Reason.IN_BAND)


def clicks(stand: Stand) -> list[bool]:
    return [on for _, on in stand.history()]


def until_told(stand: Stand, wanted: RelayReport, after: int = 0) -> None:
    """Fails unless the driver tells that, with time passing where it needs to."""
    for _ in range(40):
        if wanted in stand.reports()[after:]:
            return
        stand.stays(stand.history()[-1][1] if stand.history() else False, 0.5)
    wait_until(lambda: wanted in stand.reports()[after:], 2.0, f"{wanted} among {stand.reports()}")


def test_it_starts_off_whatever_the_last_run_left(cold: Stand) -> None:
    cold.left_on()
    cold.driver.start(cold.now())
    cold.becomes(False, 0.5)
    cold.stays(False, 0.3)
    assert clicks(cold).count(True) <= 1  # that of the last run


def test_on_is_a_lease_that_ends_by_itself(stand: Stand) -> None:
    began_ms = stand.now().mono_ms
    stand.driver.apply(on(1_000), stand.now())
    stand.becomes(True, 0.5)
    stand.becomes(False, 1.0 + stand.late_ms / 1000)
    (on_ms, first), (off_ms, second) = stand.history()
    assert (first, second) == (True, False)
    assert 0 <= on_ms - began_ms <= stand.late_ms
    assert 1_000 <= off_ms - began_ms <= 1_000 + stand.late_ms


def test_off_is_at_once(stand: Stand) -> None:
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    said_ms = stand.now().mono_ms
    stand.driver.apply(OFF, stand.now())
    stand.becomes(False, 0.5)
    assert clicks(stand) == [True, False]
    assert stand.history()[-1][0] - said_ms <= stand.late_ms


def test_off_of_what_is_off_is_harmless(stand: Stand) -> None:
    stand.driver.apply(OFF, stand.now())
    stand.driver.all_off(stand.now())
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    assert clicks(stand) == [True]


def test_a_renewal_extends_without_a_click(stand: Stand) -> None:
    stand.driver.apply(on(1_000), stand.now())
    stand.becomes(True, 0.5)
    stand.stays(True, 0.6)
    again_ms = stand.now().mono_ms
    stand.driver.apply(on(1_000, renewal=True), stand.now())
    stand.stays(True, 0.7)  # 1.3 s after the first, whose lease was 1 s
    stand.becomes(False, 1.0 + stand.late_ms / 1000)
    assert clicks(stand) == [True, False]
    assert 1_000 <= stand.history()[-1][0] - again_ms <= 1_000 + stand.late_ms


def test_all_off(stand: Stand) -> None:
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    stand.driver.all_off(stand.now())
    stand.becomes(False, 0.5)
    stand.stays(False, 0.3)


def test_closing_lets_go(stand: Stand) -> None:
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    stand.driver.close(stand.now())
    stand.becomes(False, 0.5)
    stand.driver.all_off(stand.now())  # after the end, and never raises
    stand.driver.close(stand.now())
    stand.stays(False, 0.3)
    assert clicks(stand) == [True, False]


def test_advice_is_never_driven(stand: Stand) -> None:
    stand.driver.apply(on(60_000, advise=True), stand.now())
    stand.driver.apply(on(60_000), stand.now())  # comes after it on the same way
    stand.becomes(True, 0.5)
    stand.driver.apply(replace(OFF, advise=True), stand.now())
    stand.stays(True, 0.2)
    assert clicks(stand) == [True]


def test_what_the_relay_does_is_told(stand: Stand) -> None:
    before = len(stand.reports())
    stand.driver.apply(on(1_000), stand.now())
    stand.becomes(True, 0.5)
    until_told(stand, RelayReport("tent-mist", True), before)
    stand.becomes(False, 1.0 + stand.late_ms / 1000)

    def told() -> list[bool]:
        return [report.on for report in stand.reports()[before:] if report.on is not None]

    wait_until(lambda: told()[-2:] == [True, False], 2.0, "the off, last of all")


def test_a_board_that_was_gone_comes_back_off_and_is_commanded_afresh(stand: Stand) -> None:
    """Fail-safe F24, with a lease that would run on for an hour."""
    stand.driver.apply(on(3_600_000), stand.now())
    stand.becomes(True, 0.5)
    stand.unplug()
    until_told(stand, RelayReport("tent-mist", None, available=False))
    gone = len(stand.reports())
    stand.replug()
    until_told(stand, there(stand), gone)
    stand.stays(False, 1.0)
    assert clicks(stand) == [True, False]
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    assert clicks(stand) == [True, False, True]


def there(stand: Stand) -> RelayReport:
    """An MQTT board says that it is there, and its state when asked; the others are read."""
    spoken = bool(stand.driver.topics())
    return RelayReport("tent-mist", None if spoken else False, available=True)


def test_a_gone_board_refuses_by_name_or_forgets(stand: Stand) -> None:
    """Over MQTT nobody can know whether it was heard; elsewhere it is refused. Never does it wait."""
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    stand.unplug()
    until_told(stand, RelayReport("tent-mist", None, available=False))
    gone = len(stand.reports())
    if stand.driver.topics():
        stand.driver.apply(on(60_000), stand.now())
    else:
        with pytest.raises(RelayError, match=r"relay tent-mist: .+"):
            stand.driver.apply(on(60_000), stand.now())
    stand.driver.all_off(stand.now())
    stand.replug()
    until_told(stand, there(stand), gone)
    stand.stays(False, 0.5)


def test_no_message_makes_a_driver_raise(stand: Stand) -> None:
    topics = [*stand.driver.topics(), "elsewhere"]
    odd = [b"", b"\xff", b"{", b"[" * 5_000, b'{"relay": null}', b'{"relay": "STUCK"}', b"NaN", b"7"]
    for payload in odd:
        for topic in topics:
            assert stand.driver.report(Message(topic, payload, stand.now())) is None
