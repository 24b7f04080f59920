"""Measuring runs, and what they found, for `now` and the command line. Reads, never changes."""

from gillhouse.core.house import State
from gillhouse.core.outputs import Facts
from gillhouse.core.snapshot import to_plain
from gillhouse.core.step_plan import PHASE_WORDS, STOP_WORDS, Phase
from gillhouse.core.step_test import RunState, facts


def told(state: State) -> dict[str, object]:
    """By space: the run that is on or was last, and the figures in use in place of labels."""
    spaces = {*state.measured, *(space for space, run in state.runs.items() if run.phase is not Phase.IDLE)}
    return {
        space: {
            "run": words(state.runs[space]) if space in state.runs else None,
            "in_use": to_plain(state.measured.get(space)),
        }
        for space in sorted(spaces)
    }


def words(run: RunState) -> Facts:
    """A run in a grower's words beside its plain facts."""
    said = PHASE_WORDS[run.phase] if run.why is None else f"given up: {STOP_WORDS[run.why]}"
    return {**facts(run), "words": said, "running": run.running}
