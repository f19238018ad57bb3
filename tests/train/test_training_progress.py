"""How far training and the backtest are is told on a terminal, and nowhere else."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest

from tests.command_in_fork import in_fork
from tests.worlds.demo_sample import learned

pytestmark = pytest.mark.usefixtures("quick_training")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("progress") / "shop"
    return shutil.copytree(learned(), place, ignore=shutil.ignore_patterns("*.models"))


def on_a_terminal() -> None:
    sys.stderr.isatty = lambda: True  # type: ignore[method-assign]


def test_train_tells_each_step_on_a_terminal(folder: Path) -> None:
    ran = in_fork(folder, "train", on_a_terminal)
    assert ran.status == 0
    told = ran.err.replace("\r", "\n").splitlines()
    assert [line.split(" ", 1)[1].split(":")[0] for line in told] == [f"{n} of 4 steps" for n in range(5)]
    assert told[-1].rstrip().endswith("done")
    assert "Model 0001" in ran.out


@pytest.mark.parametrize("command", ["train --quiet", "backtest --json"])
def test_nothing_is_told_where_it_was_not_asked_for(folder: Path, command: str) -> None:
    ran = in_fork(folder, command, on_a_terminal)
    assert (ran.status, ran.err) == (0, "")
    if command.endswith("json"):
        assert json.loads(ran.out)


def test_nothing_is_told_without_a_terminal(folder: Path) -> None:
    ran = in_fork(folder, "train")
    assert (ran.status, ran.err) == (0, "")
