"""What was measured unsafe, and must be measured again: until the test is good no visit ends as fixed."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from pipeline.words.appliance import CheckCard, Trade

TESTS = ("insulation", "earth continuity")
TESTS_TO_EARTH = ("insulation", "earth fault at")
"""Findings that speak of the whole appliance to earth."""
EARTH_FAULT = ("insulation", "low")
EARTH_FAULT_COMPLAINT = "trips supply"  # its causes are those of an earth fault


def is_of_protection(finding: str, value: str) -> bool:
    """Whether a finding is a reading of what protects from shocks; what looks burnt or torn is only seen."""
    return finding in (*TESTS, *TESTS_TO_EARTH) or value == "to earth"


def to_test_again(trade: Trade, findings: Mapping[str, str]) -> tuple[CheckCard, ...]:
    """Give the tests of protection that were last measured unsafe."""
    cards = {card.finding: card for card in trade.checks}
    bad = [test for test in TESTS if (test, findings.get(test, "")) in trade.unsafe]
    return tuple(cards[test] for test in bad if test in cards)


def is_earth_fault_beside(trade: Trade, findings: Mapping[str, str], complaints: Collection[str]) -> bool:
    """Whether an earth fault was measured that nothing told explains: it is found before all else."""
    finding, low = EARTH_FAULT
    if findings.get(finding) != low or EARTH_FAULT_COMPLAINT not in trade.shares:
        return False
    told = [cause for complaint in complaints for cause in trade.shares.get(complaint, ())]
    return not any(trade.stated.get((cause, finding), {}).get(low, 0.0) >= 0.5 for cause in told)
