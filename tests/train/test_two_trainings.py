"""Two trainings at once: both end well, each with a number of its own, and every file they write is whole."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

import sql
from models.causes import storage
from pipeline import Workshop
from pipeline.errors import FileUnusable
from pipeline.store.lock import MARK, alone_in
from pipeline.train import train
from tests.worlds.demo_sample import write_jobs

ROOT = Path(sql.__file__).parent.parent
TOGETHER = """
import time
from pathlib import Path
from pipeline import Workshop
from pipeline.train import train as learning
turn, folder = learning.alone_in, Path({folder!r})

def when_all_are_ready(at):
    (folder / "ready-{number}").touch()
    while len(list(folder.glob("ready-*"))) < {trainings}:
        time.sleep(0.005)
    return turn(at)

learning.alone_in = when_all_are_ready
with Workshop.open(folder / "w.duckdb", read_only=True) as workshop:
    print(workshop.train()["model"])
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_jobs(tmp_path / "jobs.csv")
    with Workshop.open(tmp_path / "w.duckdb") as workshop:
        workshop.load([tmp_path / "jobs.csv"])
    return tmp_path


def test_trainings_that_end_together(folder: Path) -> None:
    trainings = 2
    begun = [
        subprocess.Popen(
            [sys.executable, "-c", TOGETHER.format(folder=str(folder), number=number, trainings=trainings)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(trainings)
    ]
    said = [one.communicate(timeout=180) for one in begun]
    assert [one.returncode for one in begun] == [0] * trainings, said
    names = sorted(out.strip() for out, _ in said)
    assert names == ["0001", "0002"]
    models = folder / "w.models"
    for name in names:
        assert storage.open_model(models / name).card["model"] == name
        assert f"Model {name}" in (models / name / "card.html").read_text(encoding="utf-8")
    assert json.loads((models / train.IN_USE).read_text())["model"] in names
    assert sorted(path.name for path in models.iterdir()) == [*names, "advice.json", train.IN_USE, "phrases.json"]


def test_one_waits_until_the_other_is_out(tmp_path: Path) -> None:
    code = (
        "from pathlib import Path\nfrom pipeline.store.lock import alone_in\n"
        f"with alone_in(Path({str(tmp_path)!r})):\n    print('in', flush=True)\n"
    )
    with alone_in(tmp_path):
        other = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True)
        time.sleep(1.5)
        assert other.poll() is None
        assert (tmp_path / MARK).exists()
    assert other.communicate(timeout=60)[0] == "in\n"


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "w.models").write_text("not a folder")
    with pytest.raises(FileUnusable), alone_in(tmp_path / "w.models"):
        pass
