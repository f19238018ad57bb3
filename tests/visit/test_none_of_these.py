"""None of these: what no past job had makes a cause that no past job had likelier, and it is never ruled out."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pipeline import Workshop
from tests.worlds.demo_sample import learned

USUAL = {"kind": "washing machine", "make": "Tavrik", "model": "TW540", "age": "4", "complaint": "not draining, hums"}


@pytest.fixture(scope="module")
def workshop() -> Iterator[Workshop]:
    with Workshop.open(learned() / "workshop.duckdb", read_only=True) as opened:
        yield opened


@pytest.mark.parametrize(
    "new", [{"make": "Nortin"}, {"model": "ZZ900"}, {"code": "X77"}, {"make": "Nortin", "model": "ZZ9"}]
)
def test_what_no_past_job_had_raises_it(workshop: Workshop, new: dict[str, str]) -> None:
    usual, strange = (workshop.causes(**call).as_json() for call in (USUAL, USUAL | new))
    assert strange["none_of_these"] > 1.5 * usual["none_of_these"] > 0
    for told in (usual, strange):
        assert sum(row["probability"] for row in told["causes"]) + told["none_of_these"] == pytest.approx(1, abs=0.01)


def test_what_is_rare_is_not_written_as_never(workshop: Workshop) -> None:
    wording = workshop.causes(**USUAL).wording
    assert [wording.chance(p) for p in (0.2, 0.002, 0.0)] == ["20%", "under 1%", "0%"]
