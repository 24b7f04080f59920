"""Budgets of the store, as ratios to a floor measured in the same run (see `bench.bench_store`)."""

from pathlib import Path

from bench.bench_store import sizes, speed


def test_a_reading_takes_little_more_than_its_key_and_value(tmp_path: Path) -> None:
    ours, floor = sizes(tmp_path, 90_000, 3_000)
    assert ours <= 1.25 * floor, f"{ours:.1f} B a reading against {floor:.1f}"
    assert ours <= 30


def test_storing_holds_up_nobody(tmp_path: Path) -> None:
    """15 000 rows a second: the 3 a second of thirty sensors, and an hour's backlog within a second."""
    put_us, rows_per_s, _ = speed(tmp_path, 60_000)
    assert put_us <= 3.0, f"a put costs its caller {put_us:.2f} us"
    assert rows_per_s >= 15_000
