"""A stored model answers as the fitted one does, holds nothing that runs, and refuses what is damaged."""

from __future__ import annotations

import hashlib
import json
import pickle
import zipfile
from pathlib import Path

import numpy as np
import pytest

from models import CauseClassifier
from models.causes import storage
from models.causes.features import wide
from tests.worlds.cause_world import training_table


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, CauseClassifier]:
    table = training_table(300)
    fitted = CauseClassifier(scope="kind", boosting=False, folds=2).fit(wide(table), table["cause"])
    folder = tmp_path_factory.mktemp("kept") / "0001"
    storage.save(fitted.model_, folder, {"model": "0001"})
    return folder, fitted


def copy_of(folder: Path, to: Path) -> Path:
    to.mkdir()
    for path in folder.iterdir():
        (to / path.name).write_bytes(path.read_bytes())
    return to


def test_answers_are_the_same_to_the_last_bit(kept: tuple[Path, CauseClassifier]) -> None:
    folder, fitted = kept
    asked = wide(training_table(200, seed=9))
    again = storage.open_model(folder)
    assert (again.predict_proba(asked) == fitted.model_.predict_proba(asked)).all()
    assert (again.none_of_these(asked) == fitted.model_.none_of_these(asked)).all()
    assert list(again.classes_) == list(fitted.classes_)
    assert again.card["model"] == "0001"


def test_trees_and_pairs_come_back_too(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    import pandas as pd

    facts = pd.DataFrame(rng.choice(["yes", "no"], (1500, 4)), columns=list("abcd")).astype(object)
    facts["e"] = facts["a"].where(rng.random(1500) < 0.9, "no")
    odd = ((facts[list("abcd")] == "yes").sum(axis=1) % 2).astype(str)
    fitted = CauseClassifier(folds=2).fit(facts, odd)
    assert fitted.model_.trees is not None
    storage.save(fitted.model_, tmp_path / "m", {})
    assert (storage.open_model(tmp_path / "m").predict_proba(facts) == fitted.predict_proba(facts)).all()


def test_files_hold_only_text_and_numbers(kept: tuple[Path, CauseClassifier]) -> None:
    folder, _ = kept
    assert sorted(path.suffix for path in folder.iterdir()) == [".json", ".json", ".npz"]
    with np.load(folder / storage.WEIGHTS, allow_pickle=False) as packed:
        assert all(packed[name].dtype.kind in "fiub" for name in packed.files)


class Planted:
    def __reduce__(self) -> tuple[object, tuple[str]]:
        return (Path.touch, (Path("planted"),))


def test_weights_that_would_run_code_are_refused(kept: tuple[Path, CauseClassifier], tmp_path: Path) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    np.savez(folder / storage.WEIGHTS, log_share=np.array([Planted()], dtype=object), allow_pickle=True)
    with pytest.raises(storage.ModelUnreadable):
        storage.open_model(folder)
    (folder / storage.WEIGHTS).write_bytes(pickle.dumps(Planted()))
    with pytest.raises(storage.ModelUnreadable):
        storage.open_model(folder)
    assert not Path("planted").exists()


@pytest.mark.parametrize("name", [storage.MODEL, storage.WEIGHTS, storage.CARD])
@pytest.mark.parametrize("content", [None, b"", b"{", b"[1]", b"\x00\xff"])
def test_a_damaged_file_is_refused_in_words(
    kept: tuple[Path, CauseClassifier], tmp_path: Path, name: str, content: bytes | None
) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    if content is None:
        (folder / name).unlink()
    else:
        (folder / name).write_bytes(content)
    with pytest.raises(storage.ModelUnreadable):
        storage.open_model(folder)


def test_a_card_that_somebody_changed_is_refused(kept: tuple[Path, CauseClassifier], tmp_path: Path) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    (folder / storage.CARD).write_text('{"model": "0001", "episodes": "many"}')
    for read in (storage.open_model, storage.read_card):
        with pytest.raises(storage.ModelUnreadable, match="card"):
            read(folder)


def test_weights_of_another_model_are_refused(kept: tuple[Path, CauseClassifier], tmp_path: Path) -> None:
    table = training_table(200, seed=5)
    other = CauseClassifier().fit(wide(table)[["kind", "make"]], table["cause"])
    storage.save(other.model_, tmp_path / "other", {})
    folder = copy_of(kept[0], tmp_path / "m")
    (folder / storage.WEIGHTS).write_bytes((tmp_path / "other" / storage.WEIGHTS).read_bytes())
    with pytest.raises(storage.ModelUnreadable):
        storage.open_model(folder)


def test_a_newer_format_is_refused(kept: tuple[Path, CauseClassifier], tmp_path: Path) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    told = json.loads((folder / storage.MODEL).read_text())
    (folder / storage.MODEL).write_text(json.dumps(told | {"format": storage.FORMAT + 1}))
    with pytest.raises(storage.ModelUnreadable, match="format"):
        storage.open_model(folder)


def test_an_older_format_than_any_read_is_refused(kept: tuple[Path, CauseClassifier], tmp_path: Path) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    words = json.loads((folder / storage.MODEL).read_text())
    (folder / storage.MODEL).write_text(json.dumps(words | {"format": 0}))
    with pytest.raises(storage.ModelUnreadable, match="format 0"):
        storage.open_model(folder)


def test_weights_larger_than_any_models_are_refused_before_they_are_unpacked(
    kept: tuple[Path, CauseClassifier], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = copy_of(kept[0], tmp_path / "m")
    with np.load(folder / storage.WEIGHTS, allow_pickle=False) as packed:
        arrays = dict(packed)
    with zipfile.ZipFile(folder / storage.WEIGHTS, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in arrays:
            with archive.open(f"{name}.npy", "w") as file:
                np.lib.format.write_array_header_1_0(
                    file, {"descr": "<f8", "fortran_order": False, "shape": (1 << 40,)}
                )
    told = json.loads((folder / storage.MODEL).read_text(encoding="utf-8"))
    told["weights_sha256"] = hashlib.sha256((folder / storage.WEIGHTS).read_bytes()).hexdigest()
    (folder / storage.MODEL).write_text(json.dumps(told), encoding="utf-8")
    with pytest.raises(storage.ModelUnreadable, match="larger than it is"):
        storage.open_model(folder)
    monkeypatch.setattr(storage, "MOST_UNPACKED", 100)
    with pytest.raises(storage.ModelUnreadable, match="larger than 0 MB"):
        storage.open_model(kept[0])
