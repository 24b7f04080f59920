"""`python -m tests.bench [--write] [--rounds N]`, from the checkout's top."""

import argparse

from tests.bench import figures, ingest, latency


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Measures the daemon.")
    parser.add_argument("--write", action="store_true", help="also write docs/reference/figures.md")
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each measurement (5)")
    given = parser.parse_args()
    ingested = ingest.measure(given.rounds)
    timed = latency.measure(given.rounds)
    found = [*figures.of_ingest(ingested), *figures.of_latency(timed), figures.of_memory(ingested)]
    print(figures.table(found), figures.kept(ingested), sep="\n\n")
    if given.write:
        figures.DOCUMENT.write_text(figures.page(ingested, found), encoding="utf-8")
        print(f"\nwritten: {figures.DOCUMENT}")


if __name__ == "__main__":
    main()
