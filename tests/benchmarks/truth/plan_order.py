"""How often a plan is in an order a technician would call wrong, over calls of all kinds: each count should be 0.

python -m tests.benchmarks.truth.plan_order WORKSHOP.duckdb [--calls 144]
"""

from __future__ import annotations

import argparse

from pipeline import Workshop
from tests.worlds.plan_orders import answers, counted


def main() -> None:
    """Print the counts."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--calls", type=int, default=144)
    given = parser.parse_args()
    with Workshop.open(given.workshop, read_only=True) as workshop:
        told = answers(workshop, given.calls)
    print(f"{len(told)} plans of {given.calls} calls")
    for name, count in counted(told).items():
        print(f"  {name}: {count}")


if __name__ == "__main__":
    main()
