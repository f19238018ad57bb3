"""What quotes were worth on later jobs: asked with the records as they stood, learned, kept, and taken off."""

from __future__ import annotations

import json

import pytest

from pipeline.train.examples import examples
from pipeline.visit import later_jobs
from pipeline.visit.odds import model_for


@pytest.fixture(scope="module")
def jobs(workshop):
    return later_jobs.spread(examples(workshop.database), 60)


def told(workshop, jobs, day):
    model, _ = model_for(workshop.database, workshop.words)
    return later_jobs.told_of(workshop.database, workshop.words, workshop.settings, model, jobs, day)


def test_jobs_are_asked_with_the_records_of_the_day_and_no_later(workshop, jobs):
    before = workshop.causes(kind="washing machine", complaint="not draining").similar_jobs
    early, late = told(workshop, jobs, "1999-01-01"), told(workshop, jobs, "2099-01-01")
    assert len(early) == len(late) > 50
    assert [one.came_to for one in early] == [one.came_to for one in late] or any(
        value != value for one in early for value in one.came_to.values()
    )
    assert any(one.quote != other.quote for one, other in zip(early, late, strict=True))
    assert workshop.causes(kind="washing machine", complaint="not draining").similar_jobs == before


def test_what_was_learned_is_kept_with_the_model_and_moves_every_quote(workshop, jobs, tmp_path, monkeypatch):
    learned = later_jobs.learned_of(told(workshop, jobs, "2099-01-01"))
    assert learned.jobs > 50
    assert set(learned.shifts) == {"money", "minutes"}
    plain = workshop.causes(kind="washing machine", complaint="not draining").quote
    monkeypatch.setattr(later_jobs, "kept", lambda _: later_jobs.Learned(100, {"money": [0.5, 0.5, 0.5]}))
    moved = workshop.causes(kind="washing machine", complaint="not draining").quote
    assert moved["money"][1] == pytest.approx((plain["money"][1] + 1) * 2.71828**0.5 - 1, rel=1e-3)
    assert moved["minutes"] == plain["minutes"]


def test_too_few_jobs_teach_nothing(workshop, jobs):
    assert later_jobs.learned_of(told(workshop, jobs.iloc[:20], "2099-01-01")) == later_jobs.Learned()
    assert told(workshop, jobs.iloc[:0], "2099-01-01") == []


@pytest.mark.parametrize("written", ["", "[]", json.dumps({"jobs": 3, "shifts": [], "parts_at_hand": [0]})])
def test_a_damaged_file_teaches_nothing(workshop, tmp_path, monkeypatch, written):
    monkeypatch.setattr("pipeline.train.versions.name_in_use", lambda _: "0001")
    monkeypatch.setattr("pipeline.train.versions.storage_folder", lambda *_: tmp_path)
    assert later_jobs.kept(workshop.database) == later_jobs.Learned()
    (tmp_path / later_jobs.FILE).write_text(written, encoding="utf-8")
    assert later_jobs.kept(workshop.database) == later_jobs.Learned()
