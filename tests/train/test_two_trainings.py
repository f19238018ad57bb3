"""Two trainings at once: both end well, each with a number of its own, and every file they write is whole."""

from __future__ import annotations

import importlib
import json
import os
import shutil
import subprocess
import sys
import time
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

import sql
from models.causes import storage
from pipeline.errors import FileUnusable
from pipeline.store.lock import MARK, alone_in
from pipeline.train import train
from pipeline.train.versions import IN_USE
from tests.command_in_fork import begun_in_fork
from tests.worlds.demo_sample import learned

ROOT = Path(sql.__file__).parent.parent
TRAININGS = 2


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A workshop that has loaded sixty calls and learned nothing yet."""
    return shutil.copytree(learned(), tmp_path / "shop", ignore=shutil.ignore_patterns("*.models"))


def test_trainings_that_end_together(folder: Path, quick_training: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def when_all_are_ready(at: Path) -> AbstractContextManager[None]:
        (folder / f"ready-{os.getpid()}").touch()
        while len(list(folder.glob("ready-*"))) < TRAININGS:
            time.sleep(0.005)
        return alone_in(at)

    monkeypatch.setattr(train, "alone_in", when_all_are_ready)
    importlib.import_module("models.causes.classifier")
    begun = [begun_in_fork(folder, "train --json") for _ in range(TRAININGS)]
    said = [ended() for ended in begun]
    assert [one.status for one in said] == [0] * TRAININGS, said
    names = sorted(json.loads(one.out)["model"] for one in said)
    assert names == ["0001", "0002"]
    models = folder / "workshop.models"
    for name in names:
        assert storage.open_model(models / name).card["model"] == name
        assert f"Model {name}" in (models / name / "card.html").read_text(encoding="utf-8")
    assert json.loads((models / IN_USE).read_text())["model"] in names
    kept = sorted(path.name for path in models.iterdir())
    assert kept == [*names, "advice.json", IN_USE, "phrases.json"]


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
