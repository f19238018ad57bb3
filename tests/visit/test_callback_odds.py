"""What returns after a part tell, counted over the whole history at once."""

from __future__ import annotations

from collections import Counter
from statistics import mean

import pytest

from pipeline import Workshop
from pipeline.visit.callback_odds import returns_after_part


def test_returns_are_counted_as_line_by_line(workshop: Workshop) -> None:
    ask = workshop.database.connection.execute
    said = dict(
        ask("select visit_id, min(symptom) from visit_symptom where not is_negated group by visit_id").fetchall()
    )
    cures = set(ask("select kind, cause, part from cure where origin <> 'joint'").fetchall())
    jobs = Counter(ask("select kind, unnest(symptoms), cause from cause_example").fetchall())
    lines = ask(
        "select kind, part, confirmed_cause, visit_id from part_verdict "
        "where verdict in ('not the cause', 'fitted again') and confirmed_cause is not null"
    ).fetchall()
    shares, again = [], 0
    for kind, part, cause, visit in lines:
        alike = {
            other: count for (of, symptom, other), count in jobs.items() if (of, symptom) == (kind, said.get(visit))
        }
        if alike:
            cured = sum(count for other, count in alike.items() if (kind, other, part) in cures)
            shares.append(cured / sum(alike.values()))
            again += (kind, cause, part) in cures
    assert shares
    assert returns_after_part(workshop.database) == (again, len(shares), pytest.approx(mean(shares)))
