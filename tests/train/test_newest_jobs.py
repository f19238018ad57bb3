"""Of very many cured jobs the newest are learned from, and the others are told."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.terminal import views
from pipeline.train import examples
from pipeline.train.versions import SCORES, current_model
from tests.worlds.cause_world import train, training_table, workshop


def test_older_jobs_are_left_out_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, quick_training: None
) -> None:
    table = training_table(60)
    monkeypatch.setattr(examples, "MOST", 50)
    database = workshop(tmp_path, table.sample(frac=1, random_state=0))
    learned = examples.examples(database)
    assert learned["episode_id"].tolist() == table["episode_id"].tolist()[-50:]
    told = train(database)
    assert (told["episodes"], told["left_out"]) == (50, 10)
    assert any("10 older ones" in line for line in views.scores(told))
    model = current_model(database)
    assert model is not None
    assert model.card["first_date"] == str(table["cure_date"].iloc[10])[:10]
    assert "10 older ones" in (database.folder_of_models / "0001" / "card.html").read_text(encoding="utf-8")


def test_a_model_worse_than_a_plain_way_is_called_so() -> None:
    told = {
        "model": "0001", "episodes": 60, "left_out": 0, "exam_jobs": 12, "never_seen_causes": 0, "in_use": "0001", "causes": 4, "as_of": "2026-01-31", "note": "",
        "half_life": {"years": None, "asked": 0, "tried": []}, "replaced": True,
        "scores": dict.fromkeys(SCORES, 1.033), "baselines": {"share by complaint": dict.fromkeys(SCORES, 0.917)},
    }  # fmt: skip
    (line,) = (line for line in views.scores(told) if line.startswith("Worse than"))
    assert line.startswith("Worse than share by complaint: log-loss 1.033 against 0.917 on 12 later jobs; so few")
    better = told | {"scores": dict.fromkeys(SCORES, 0.8)}
    assert not any(line.startswith("Worse than") for line in views.scores(better))
