"""Of very many cured jobs the newest are learned from, and the others are told."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.terminal import views
from pipeline.train import examples
from pipeline.train import train as training
from tests.worlds.cause_world import train, training_table, workshop


def test_older_jobs_are_left_out_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = training_table(60)
    monkeypatch.setattr(examples, "MOST", 50)
    database = workshop(tmp_path, table.sample(frac=1, random_state=0))
    learned = examples.examples(database)
    assert learned["episode_id"].tolist() == table["episode_id"].tolist()[-50:]
    told = train(database)
    assert (told["episodes"], told["left_out"]) == (50, 10)
    assert any("10 older ones" in line for line in views.scores(told))
    model = training.current_model(database)
    assert model is not None
    assert model.card["first_date"] == str(table["cure_date"].iloc[10])[:10]
    assert "10 older ones" in (database.folder_of_models / "0001" / "card.html").read_text(encoding="utf-8")
