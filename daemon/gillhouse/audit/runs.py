"""From single commands to the runs of a relay: when it was on, why it began, how it ended.

Here: pure bookkeeping over commands. An ON opens a run, renewals lengthen it, and it ends at the OFF, when
its time is up without a renewal, or when the daemon stopped or began (boards are told to let go then).
Commands of a relay that only advises never moved anything; `runs` is called for them apart.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from gillhouse.store.records import CommandAt


class End(StrEnum):
    """How a run ended."""

    OFF = "off"
    TIME_UP = "time-up"
    STOP = "stop"
    STILL_ON = "still-on"
    """It was on when the night ended."""


@dataclass(frozen=True, slots=True)
class Run:
    """A relay on from `from_ms` up to `to_ms`."""

    from_ms: int
    to_ms: int
    began: CommandAt
    """The command that opened it; a renewal where the first ON lies before all that was read."""
    renewals: int
    end: End
    ended: CommandAt | None
    """The OFF, where there was one."""

    @property
    def lasted_ms(self) -> int:
        return self.to_ms - self.from_ms


def runs(issued: Iterable[CommandAt], stops: Sequence[int], until_ms: int) -> list[Run]:
    """The runs of one relay, in order of time.

    Args:
        issued: its commands, ordered by time.
        stops: wall times at which the daemon stopped or began, ordered.
        until_ms: nothing is said about times after this.
    """
    found: list[Run] = []
    open_run: Run | None = None
    for one in issued:
        if open_run is not None:
            open_run = _let_go(open_run, stops, one.ts, found)
        if one.command.on:
            open_run = _on(open_run, one)
        elif open_run is not None:
            found.append(replace(open_run, to_ms=one.ts, end=End.OFF, ended=one))
            open_run = None
    if open_run is not None:
        left = _let_go(open_run, stops, until_ms, found)
        if left is not None:
            found.append(replace(left, to_ms=until_ms, end=End.STILL_ON))
    return [run for run in found if run.from_ms < until_ms]


def _on(open_run: Run | None, one: CommandAt) -> Run:
    ends = one.ts + one.command.lease_ms
    if open_run is None:
        return Run(one.ts, ends, one, 0, End.TIME_UP, None)
    return replace(open_run, to_ms=max(ends, open_run.to_ms), renewals=open_run.renewals + 1)


def _let_go(run: Run, stops: Sequence[int], by_ms: int, found: list[Run]) -> Run | None:
    """The run if it is still on at `by_ms`; else it is put into `found`."""
    stop = next((at for at in stops if run.from_ms < at <= min(run.to_ms, by_ms)), None)
    if stop is not None:
        found.append(replace(run, to_ms=stop, end=End.STOP))
        return None
    if run.to_ms < by_ms:
        found.append(replace(run, end=End.TIME_UP))
        return None
    return run


def within(all_runs: Iterable[Run], from_ms: int, to_ms: int) -> list[Run]:
    """The runs that touch a window, cut to it. (`began.ts` still tells when one really began.)"""
    cut = []
    for run in all_runs:
        if run.to_ms > from_ms and run.from_ms < to_ms:
            end = End.STILL_ON if run.to_ms > to_ms else run.end
            cut.append(replace(run, from_ms=max(run.from_ms, from_ms), to_ms=min(run.to_ms, to_ms), end=end))
    return cut


def started(some: Iterable[Run], from_ms: int) -> int:
    """How often the relay was switched on at or after `from_ms`."""
    return sum(1 for run in some if run.began.ts >= from_ms and not run.began.command.renewal)


def ended(some: Iterable[Run]) -> int:
    """How often the relay went off, of runs that `within` has cut to a window."""
    return sum(1 for run in some if run.end is not End.STILL_ON)


def on_ms(some: Iterable[Run]) -> int:
    return sum(run.lasted_ms for run in some)
