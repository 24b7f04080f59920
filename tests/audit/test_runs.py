"""From commands to runs. Every case worked by hand."""

from hypothesis import given
from hypothesis import strategies as st

from gillhouse.audit.runs import End, on_ms, runs, started, within
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.store.records import CommandAt

S = 1000


def on(at: float, lease: float, renewal: bool = False) -> CommandAt:
    command = Command("fan", True, int(lease * S), Authority.DEMAND, Reason.CO2_HIGH, renewal=renewal)
    return CommandAt(int(at), int(at), int(at * S), command)


def off(at: float) -> CommandAt:
    return CommandAt(
        int(at), int(at), int(at * S), Command("fan", False, 0, Authority.DEMAND, Reason.RUN_ENDED)
    )


def spans(
    issued: list[CommandAt], stops: tuple[float, ...] = (), until: float = 10_000
) -> list[tuple[float, float, End]]:
    found = runs(issued, [int(at * S) for at in stops], int(until * S))
    return [(run.from_ms / S, run.to_ms / S, run.end) for run in found]


def test_a_run_ends_with_its_off() -> None:
    assert spans([on(10, 60), off(30)]) == [(10, 30, End.OFF)]


def test_without_an_off_it_ends_when_its_time_is_up() -> None:
    assert spans([on(10, 60)]) == [(10, 70, End.TIME_UP)]


def test_renewals_lengthen_one_run() -> None:
    assert spans([on(0, 300), on(240, 300, True), on(480, 300, True), off(600)]) == [(0, 600, End.OFF)]


def test_an_on_after_the_time_was_up_is_a_new_run() -> None:
    found = runs([on(0, 10), on(60, 10)], [], 1000 * S)
    assert [(run.from_ms, run.to_ms) for run in found] == [(0, 10 * S), (60 * S, 70 * S)]
    assert started(found, 0) == 2


def test_an_off_after_the_time_was_up_changes_nothing() -> None:
    assert spans([on(0, 10), off(60)]) == [(0, 10, End.TIME_UP)]


def test_a_stop_or_start_of_the_daemon_ends_a_run() -> None:
    assert spans([on(0, 300), on(500, 60)], stops=(100,)) == [(0, 100, End.STOP), (500, 560, End.TIME_UP)]


def test_still_on_when_the_night_ends() -> None:
    assert spans([on(0, 300)], until=200) == [(0, 200, End.STILL_ON)]


def test_a_run_begun_before_the_window_is_cut_and_not_counted_as_a_start() -> None:
    found = within(runs([on(0, 300), off(300), on(400, 50)], [], 1000 * S), 100 * S, 420 * S)
    assert [(run.from_ms / S, run.to_ms / S) for run in found] == [(100, 300), (400, 420)]
    assert started(found, 100 * S) == 1
    assert on_ms(found) == 220 * S


@given(st.lists(st.tuples(st.integers(0, 5000), st.booleans(), st.integers(1, 600)), max_size=30))
def test_seconds_on_agree_with_a_naive_walk(moves: list[tuple[int, bool, int]]) -> None:
    """A walk second by second: on while the last command was ON and its time (renewals add up) has not
    passed."""
    issued = [
        on(at, lease) if is_on else off(at) for at, is_on, lease in sorted(moves, key=lambda move: move[0])
    ]
    counted, ends, last = 0, 0, 0
    rows = list(issued)
    for second in range(6000):
        while rows and rows[0].ts <= second * S:
            row = rows.pop(0)
            running = second < ends
            lease_end = second + row.command.lease_ms // S
            ends = max(lease_end, ends if running else 0) if row.command.on else 0
        counted += second < ends
        last = second
    assert on_ms(runs(issued, [], (last + 1) * S)) == counted * S
