"""The alarm system's figures against a check log whose every value was worked by hand beforehand.

Source: the log is invented input; its expected values were computed beside it from the definitions of the
alarm practice (EEMUA 191, ISA-18.2, through articles about them) before this code was written.
"""

import pytest

from gillhouse.audit.alarm_figures import (
    Acked,
    AlarmFigures,
    Flood,
    Logged,
    Row,
    alarm_figures,
    ranked,
    together_s,
)

T0 = 1_791_936_000
"""2026-10-14 00:00 UTC by `date -u -d @1791936000`."""
DAY = 86_400


def log() -> list[Logged]:
    rows: list[Logged] = []

    def add(
        alarm: str, priority: int, act: float, ack: float | None = None, rtn: float | None = None
    ) -> None:
        for kind, at in ((Row.ACT, act), (Row.ACK, ack), (Row.RTN, rtn)):
            if at is not None:
                rows.append(Logged(T0 + at, alarm, kind, priority=priority))

    add("RH_LO", 3, 7_200, 7_500, 8_100)
    add("T_HI", 3, 18_000, 18_240, 19_200)
    add("CO2_HI", 2, 28_800, 29_400, 30_300)
    add("RH_LO", 3, 39_600, 39_720, 40_200)
    add("BATT_LO", 3, 50_400, 52_200, 54_400)
    for at in (72_000, 72_015, 72_030, 72_045):
        add("RH_LO", 3, at, None, at + 5)
    rows.append(Logged(T0 + 72_070, "RH_LO", Row.ACK))
    add("DOOR", 3, 75_600, 75_700, 75_603)
    for k in range(21):
        if k <= 11:
            at, priority = 79_210 + 20 * k, 2 if k <= 2 else 3
        elif k <= 17:
            at, priority = 79_800 + 30 * (k - 12), 3
        else:
            at, priority = 80_400 + 30 * (k - 18), 1 if k == 18 else 3
        add(f"S{k:02}", priority, at, 81_000 + 10 * k, 81_500 + k)
    add("PUMP_MISM", 2, 600, 660, 88_800)
    return rows


def figures(flood_from: int = 10) -> AlarmFigures:
    return alarm_figures(log(), (T0, T0 + DAY), (T0 + DAY,), flood_from)


def test_rates() -> None:
    found = figures()
    assert found.announced == 32
    assert (round(found.per_day, 2), round(found.per_hour, 2), round(found.per_10_min, 3)) == (
        32,
        1.33,
        0.222,
    )


def test_bins_and_hours() -> None:
    found = figures()
    bins = dict(found.bins)
    assert {number: bins.pop(number) for number in (120, 132, 133, 134)} == {120: 4, 132: 12, 133: 6, 134: 3}
    assert sorted(bins.values()) == [1] * 7
    assert round(found.bins_over_10_pct, 2) == 0.69, "one of 144"
    assert (found.peak_bin, found.peak_hour, found.hours_over_30) == (12, 21, 0)


@pytest.mark.parametrize("flood_from", [10, 11], ids=["10 or more", "more than 10"])
def test_the_flood(flood_from: int) -> None:
    found = figures(flood_from)
    assert found.floods == (Flood(T0 + 132 * 600, 2, 18, 12),)
    assert found.floods[0].bins * 10 == 20, "minutes"
    assert round(found.flood_pct, 2) == 1.39


def test_the_mix_of_priorities_and_the_ten_most_frequent() -> None:
    found = figures()
    assert [round(found.by_priority_pct[n], 1) for n in (1, 2, 3)] == [3.1, 15.6, 81.2]
    assert (sum(n for _, n in found.top), len(found.top), round(found.top_pct, 1)) == (15, 10, 46.9)
    assert found.top[0] == ("RH_LO", 6)


def test_chattering_fleeting_stale_standing() -> None:
    found = figures()
    assert found.chattering == ("RH_LO",)
    assert found.fleeting == ("DOOR",)
    assert found.stale == ("PUMP_MISM",)
    assert found.standing == {T0 + DAY: ("PUMP_MISM",)}


def test_the_time_to_acknowledge() -> None:
    assert figures().acked == Acked(29, 1_300, 1_780, 1_800, 0)
    unseen = alarm_figures([row for row in log() if row.kind is not Row.ACK], (T0, T0 + DAY))
    assert (unseen.acked.count, unseen.acked.median_s) == (0, None)
    assert unseen.acked.never == 27, "the three times of RH_LO are one chain then"


def test_nearest_rank() -> None:
    """A worked example of the nearest-rank method: 15, 20, 35, 40, 50 -> 30th 20, 40th 20, 50th 35, 100th 50
    (as in the usual textbook presentation, from memory)."""
    assert [ranked([35, 20, 15, 50, 40], percent) for percent in (30, 40, 50, 100)] == [20, 20, 35, 50]


def test_what_is_kept_back_is_not_announced_and_its_hours_are_counted() -> None:
    rows = [
        Logged(T0 + 0, "A", Row.SHELVE),
        Logged(T0 + 600, "A", Row.ACT),
        Logged(T0 + 1_200, "A", Row.SUPP),
        Logged(T0 + 3_600, "A", Row.UNSHELVE),
        Logged(T0 + 4_000, "A", Row.ACT),
        Logged(T0 + 7_200, "A", Row.UNSUPP),
        Logged(T0 + 7_300, "A", Row.ACT),
        Logged(T0 + 80_000, "B", Row.OOS),
    ]
    found = alarm_figures(rows, (T0, T0 + DAY))
    assert found.announced == 1
    assert {name: dict(hours) for name, hours in found.kept_back_h.items()} == {
        "A": {"SHELVE": 1.0, "SUPP": pytest.approx(6_000 / 3_600)},
        "B": {"OOS": pytest.approx(6_400 / 3_600)},
    }
    often = [Logged(T0 + at * 3_600, "A", Row.SHELVE) for at in range(4)]
    assert alarm_figures(often, (T0, T0 + DAY)).often_kept_back == ("A",)
    assert alarm_figures(often[:3], (T0, T0 + DAY)).often_kept_back == ()


def test_delivery_by_channel() -> None:
    rows = [
        Logged(T0, "A", Row.ACT),
        Logged(T0 + 1, "A", Row.SEND, actor="post"),
        Logged(T0 + 2, "A", Row.SEND_FAIL, actor="post"),
        Logged(T0 + 6, "A", Row.SEND, actor="post"),
        Logged(T0 + 7, "A", Row.SEND_OK, actor="post"),
        Logged(T0 + 10, "B", Row.ACT),
        Logged(T0 + 11, "B", Row.SEND, actor="post"),
        Logged(T0 + 13, "B", Row.SEND_OK, actor="post"),
    ]
    post = alarm_figures(rows, (T0, T0 + DAY)).channels["post"]
    assert (post.tried, post.got_out, post.median_s, post.most_s) == (3, 2, 3, 7)


def test_spans_that_overlap_count_once() -> None:
    assert together_s([(0, 10), (5, 20), (30, 40), (40, 41), (50, 50)]) == 31


def test_an_empty_log_has_figures_too() -> None:
    found = alarm_figures([], (T0, T0 + DAY), (T0 + DAY,))
    assert (found.announced, found.top_pct, found.floods, found.acked.median_s) == (0, 0.0, (), None)
    assert found.standing == {T0 + DAY: ()}
