"""Which check shows which cause, and by what: the word lists, and the workshop's own jobs where no list says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.words.appliance import CheckCard, Trade

AT_HAND = 0.7  # chance of an outcome under a cause from which on the outcome shows the cause itself
LEAST_PLACE = 0.3  # such a chance from which on a check looks at the place of a cause
SEEN_BY_ANYONE = 0.5  # least chance that what anyone can see shows a cause (common practice, no source)
LEAST_JOBS = 4  # jobs from which on a cause shows in a check though no list says so


class Signs:
    """What is seen of the causes of one kind of appliance.

    Parameters
    ----------
    trade
        The kind's word lists.
    jobs
        (cause, finding) → value → cured jobs.
    """

    def __init__(self, trade: Trade, jobs: Mapping[tuple[str, str], Mapping[str, float]]) -> None:
        self.trade, self.jobs = trade, jobs
        self._usual: dict[str, str] = {}
        self._shown: dict[tuple[str, str], tuple[str, float]] = {}
        self._places: dict[str, CheckCard | None] = {}

    def shown(self, cause: str, card: CheckCard) -> tuple[str, float]:
        """Return the outcome other than the usual that a cause shows most plainly in a check, and its chance."""
        if (cause, card.name) not in self._shown:
            self._shown[cause, card.name] = self._find_shown(cause, card)
        return self._shown[cause, card.name]

    def _find_shown(self, cause: str, card: CheckCard) -> tuple[str, float]:
        from models.plan.likelihood import NORMAL

        stated = self.trade.stated.get((cause, card.finding), {})
        usual = card.values[0] if card.values[0] in NORMAL else ""
        return max(
            ((value, p) for value, p in stated.items() if value != usual), key=lambda row: row[1], default=("", 0.0)
        )

    def place(self, cause: str) -> CheckCard | None:
        """Find the check that looks at the place of a cause: the one it shows in most plainly by an unusual value."""
        if cause not in self._places:
            self._places[cause] = self._find_place(cause)
        return self._places[cause]

    def _find_place(self, cause: str) -> CheckCard | None:
        best, most = None, LEAST_PLACE
        for card in self.trade.checks:
            shown = self.trade.stated.get((cause, card.finding), {})
            unusual = max((p for value, p in shown.items() if value != card.values[0]), default=0.0)
            if unusual > most and card.cautions:
                best, most = card, unusual
        return best

    def own_check(self, cause: str) -> CheckCard | None:
        """Check without power that looks at the place of a cause, where it shows the cause itself."""
        place = self.place(cause)
        return place if place and place.power != "needed" and self.shown(cause, place)[1] >= AT_HAND else None

    def shows(self, cause: str, card: CheckCard) -> bool:
        """Whether a check was ever known to show a cause by a value that is not the usual one."""
        usual = self.usual(card)
        if any(value != usual for value in self.trade.stated.get((cause, card.finding), {})):
            return True
        jobs = self.jobs.get((cause, card.finding), {}) if usual else {}
        return sum(jobs.values()) >= LEAST_JOBS and max(jobs, key=lambda value: jobs[value]) != usual

    def usual(self, card: CheckCard) -> str:
        """Value of a sound appliance: the first, of yes and no the one that no list names; "" = not known."""
        if set(card.values) != {"yes", "no"}:
            return card.values[0]
        if card.finding not in self._usual:
            rows = [stated for (_, finding), stated in self.trade.stated.items() if finding == card.finding]
            telling = {max(stated, key=lambda value: stated[value]) for stated in rows}
            self._usual[card.finding] = ("no" if telling == {"yes"} else "yes") if len(telling) == 1 else ""
        return self._usual[card.finding]
