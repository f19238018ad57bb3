"""A fitted model as a folder: words as JSON, numbers as npz, and its card. Reading it runs no code."""

from __future__ import annotations

import hashlib
import json
import math
import zipfile
import zlib
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes.boosting import Trees
from models.causes.by_kind import ByKind, OfKind
from models.causes.encoding import Column
from models.causes.facts import Facts
from models.causes.failure_modes import Ways, places_of
from models.causes.model import OPINIONS, CauseModel
from models.causes.new_causes import Unseen
from models.causes.pairs import Pairs
from models.causes.uncertainty import BANDS
from models.causes.words import Words

if TYPE_CHECKING:
    from pathlib import Path

FORMAT = 4
MOST_UNPACKED = 1 << 30  # bytes of weights; the demo's model has about 4 MB
MODEL, WEIGHTS, CARD = "model.json", "weights.npz", "card.json"
_PAIRS = ("columns", "starts", "widths", "table")
_WAYS = tuple(one.name for one in fields(Ways))
_KIND_ARRAYS = ("causes", "features", "weights", "level")
_ARRAYS = ("log_share", "log_ratio", "weights", "jobs", "width")


class ModelUnreadable(ValueError):
    """A model folder that is missing a file, damaged, or of a newer format."""


def save(model: CauseModel, folder: Path, card: dict[str, Any]) -> None:
    """Write a fitted model into ``folder`` (made if missing).

    Parameters
    ----------
    model
        A :class:`CauseModel`, for instance ``CauseClassifier.model_``.
    folder
        Where it goes; files of the same names are replaced.
    card
        What the model card says; must be plain JSON.
    """
    folder.mkdir(parents=True, exist_ok=True)
    told = {
        "format": FORMAT,
        "classes": [str(name) for name in model.classes_],
        "columns": [_plain(asdict(column)) for column in model.columns],
        "unseen": asdict(model.unseen),
        "depth": model.trees.depth if model.trees is not None else None,
        "text": model.text,
    }
    arrays = {name: getattr(model, name) for name in _ARRAYS if getattr(model, name) is not None}
    if model.pairs is not None:
        arrays |= {f"pairs_{name}": getattr(model.pairs, name) for name in _PAIRS}
    for part, ways in (("ways", model.ways), ("lists", model.lists)):
        if ways is not None:
            arrays |= {f"{part}_{name}": getattr(ways, name) for name in _WAYS}
    for part, layer in (("regression", model.regression), ("naive_bayes", model.naive_bayes)):
        if layer is not None:
            arrays |= {f"{part}_{name}": array for name, array in _flat_kinds(layer).items()}
    if model.facts is not None:
        arrays |= {f"facts_{name}": array for name, array in _flat_facts(model.facts).items()}
    if model.trees is not None:
        arrays |= {f"trees_{name}": getattr(model.trees, name) for name in _tree_arrays()}
    with (folder / WEIGHTS).open("wb") as out:
        np.savez_compressed(out, **arrays)
    (folder / CARD).write_text(json.dumps(card, ensure_ascii=False, indent=1, allow_nan=False), encoding="utf-8")
    told |= {"weights_sha256": _fingerprint(folder / WEIGHTS), "card_sha256": _fingerprint(folder / CARD)}
    (folder / MODEL).write_text(json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False), encoding="utf-8")


def _plain(column: dict[str, Any]) -> dict[str, Any]:
    return {
        key: None if isinstance(value, float) and not np.isfinite(value) else value for key, value in column.items()
    }


def _tree_arrays() -> list[str]:
    return [one.name for one in fields(Trees) if one.name != "depth"]


def read_card(folder: Path) -> dict[str, Any]:
    """Read the model card alone.

    Raises
    ------
    ModelUnreadable
        The card is missing or is not what :func:`save` wrote.
    """
    return _card_of(_read_json(folder / MODEL), folder)


def _card_of(told: dict[str, Any], folder: Path) -> dict[str, Any]:
    card = _read_json(folder / CARD)
    if told.get("card_sha256", _fingerprint(folder / CARD)) != _fingerprint(folder / CARD):
        raise ModelUnreadable(f"{CARD} is not the file that {MODEL} was written with")
    return card


def open_model(folder: Path) -> CauseModel:
    """Read a model back; only JSON and plain arrays are accepted.

    Raises
    ------
    ModelUnreadable
        A file is missing, damaged, of a newer format, or its parts do not fit one another.
    """
    told = _read_json(folder / MODEL)
    if told.get("format") != FORMAT:
        raise ModelUnreadable(f"model format {told.get('format')!r} is not the one this version reads ({FORMAT})")
    try:
        if told["weights_sha256"] != _fingerprint(folder / WEIGHTS):
            raise ValueError(f"it is not the file that {MODEL} was written with")
        _check_unpacked(folder / WEIGHTS)
        with (folder / WEIGHTS).open("rb") as file, np.load(file, allow_pickle=False) as packed:
            arrays = {name: packed[name] for name in packed.files}
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, zlib.error, EOFError) as fault:
        raise ModelUnreadable(f"{WEIGHTS} cannot be read: {fault}") from fault
    try:
        model = _built(told, arrays, _card_of(told, folder))
        _check(model)
    except (KeyError, TypeError, AttributeError, ValueError, IndexError, OverflowError) as fault:
        raise ModelUnreadable(f"{MODEL} and {WEIGHTS} do not belong together: {fault}") from fault
    return model


def _check_unpacked(path: Path) -> None:
    """Refuse, before anything is unpacked, arrays that are larger than any model's or than the file holds."""
    with zipfile.ZipFile(path) as archive:
        if sum(member.file_size for member in archive.infolist()) > MOST_UNPACKED:
            raise ValueError(f"unpacked it would be larger than {MOST_UNPACKED >> 20} MB")
        for member in archive.infolist():
            with archive.open(member) as file:
                version = np.lib.format.read_magic(file)
                read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
                shape, _, dtype = read(file)
            if math.prod(shape) * dtype.itemsize > member.file_size:
                raise ValueError(f"{member.filename} says it is larger than it is")


def _fingerprint(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read_json(path: Path) -> dict[str, Any]:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as fault:
        raise ModelUnreadable(f"{path.name} cannot be read: {fault}") from fault
    if not isinstance(told, dict):
        raise ModelUnreadable(f"{path.name} does not hold an object")
    return told


def _built(told: dict[str, Any], arrays: dict[str, np.ndarray], card: dict[str, Any]) -> CauseModel:
    columns = [_column(column) for column in told["columns"]]
    facts = _facts(columns, _under("facts", arrays))
    trees = None
    if told["depth"] is not None:
        trees = Trees(**{name: arrays[f"trees_{name}"] for name in _tree_arrays()}, depth=int(told["depth"]))
    return CauseModel(
        classes_=np.array(told["classes"], dtype=object),
        columns=columns,
        log_share=arrays["log_share"],
        log_ratio=arrays["log_ratio"],
        pairs=Pairs(**{name: arrays[f"pairs_{name}"] for name in _PAIRS}) if "pairs_table" in arrays else None,
        facts=facts,
        regression=_by_kind(facts, _under("regression", arrays)),
        naive_bayes=_by_kind(facts, _under("naive_bayes", arrays)),
        lists=_ways("lists", arrays),
        text=told.get("text"),
        trees=trees,
        ways=_ways("ways", arrays),
        weights=np.broadcast_to(arrays["weights"], (2, len(OPINIONS))),
        jobs=arrays["jobs"],
        width=arrays["width"],
        unseen=Unseen(**told["unseen"]),
        card=card,
    )


def _flat_facts(facts: Facts) -> dict[str, np.ndarray]:
    entries = np.frombuffer("\n".join(facts.words.entries).encode(), dtype=np.uint8)
    return {"is_read": facts.is_read, "pairs": facts.pairs, "entries": entries, "rarity": facts.words.rarity}


def _facts(columns: list[Column], flat: dict[str, np.ndarray]) -> Facts | None:
    if not flat:
        return None
    text = flat["entries"].tobytes().decode()
    words = Words(tuple(text.split("\n")) if text else (), flat["rarity"])
    if len(flat["is_read"]) != sum(column.size for column in columns) or len(words.entries) != len(words.rarity):
        raise ValueError("the features do not fit the columns")
    return Facts(columns, flat["is_read"], flat["pairs"], words)


def _flat_kinds(layer: ByKind) -> dict[str, np.ndarray]:
    """Every kind's arrays behind one another, and how long each is."""
    flat: dict[str, np.ndarray] = {"kinds": np.array(list(layer.of_kind), dtype=np.int64)}
    for name in _KIND_ARRAYS:
        parts = [np.ravel(getattr(mine, name)) for mine in layer.of_kind.values()]
        flat[name] = np.concatenate(parts) if parts else np.zeros(0)
        flat[f"{name}_of"] = np.array([len(part) for part in parts], dtype=np.int64)
    for name in ("trust", "elsewhere"):
        flat[name] = np.array([getattr(mine, name) for mine in layer.of_kind.values()])
    return flat


def _by_kind(facts: Facts | None, flat: dict[str, np.ndarray]) -> ByKind | None:
    if not flat or facts is None:
        return None
    cut = {name: np.split(flat[name], np.cumsum(flat[f"{name}_of"])[:-1]) for name in _KIND_ARRAYS}
    of_kind = {}
    for place, kind in enumerate(flat["kinds"].tolist()):
        causes, features = cut["causes"][place], cut["features"][place]
        if features.max(initial=0) >= facts.size or features.min(initial=0) < 0:
            raise ValueError("the features do not fit their weights")
        weights = cut["weights"][place].reshape(len(features), len(causes))
        trust, elsewhere = float(flat["trust"][place]), float(flat["elsewhere"][place])
        of_kind[kind] = OfKind(causes, features, weights, cut["level"][place], trust, elsewhere)
    return ByKind(facts.size, of_kind)


def _under(part: str, arrays: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {name.removeprefix(f"{part}_"): array for name, array in arrays.items() if name.startswith(f"{part}_")}


def _ways(part: str, arrays: dict[str, np.ndarray]) -> Ways | None:
    return Ways(**{name: arrays[f"{part}_{name}"] for name in _WAYS}) if f"{part}_cause" in arrays else None


def _column(told: dict[str, Any]) -> Column:
    lowest, highest = (float("nan") if told[key] is None else float(told[key]) for key in ("lowest", "highest"))
    return Column(str(told["name"]), tuple(told["values"]), tuple(told["edges"]), lowest, highest)


def _check(model: CauseModel) -> None:
    """Refuse parts whose sizes do not fit, so that a damaged folder fails here and not in an answer."""
    causes, size = len(model.classes_), sum(column.size for column in model.columns)
    right = (
        model.log_share.shape == (causes,)
        and model.log_ratio.shape == (size, causes)
        and model.weights.shape == (2, len(OPINIONS))
        and len(model.width) in (0, len(BANDS))
        and isinstance(model.text, str | None)
    )
    right = right and all(_ways_fit(model, ways, causes, size) for ways in (model.ways, model.lists))
    if model.regression is not None:
        right = right and all(
            mine.level.shape == mine.causes.shape and mine.causes.min() >= 0 and mine.causes.max() < causes
            for mine in model.regression.of_kind.values()
        )
    if model.trees is not None:
        nodes = len(model.trees.value)
        inside = all(
            len(part) == nodes and part.min(initial=0) >= 0 and part.max(initial=0) < nodes
            for part in (model.trees.left, model.trees.right)
        )
        right = right and inside and model.trees.baseline.shape == (causes,)
    if not right:
        raise ModelUnreadable("the sizes of the weights do not fit one another")


def _ways_fit(model: CauseModel, ways: Ways | None, causes: int, size: int) -> bool:
    places = places_of(model.columns)
    if ways is None:
        return True
    number, said = len(ways.cause), len(places.said)
    return (
        np.array_equal(np.unique(ways.cause), np.arange(causes))
        and ways.log_share.shape == (max(places.kinds, 1) + 1, number)
        and ways.ratio.shape == (size, number)
        and ways.main.shape == ways.extra.shape == (said, number)
        and ways.pair_ratio.shape == (len(ways.pairs), number)
    )
