"""What belongs to a workshop, made to do harm: its own word lists, its model, its database."""

from __future__ import annotations

import contextlib
import json
import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.worlds.hostile_files import HOSTILE, bend, written

GOOD_WORDS = """
[[kind]]
term = "washing machine"
written = ["twin tub"]
[[complaint]]
term = "hums"
written = ["humming", "buzzes"]
kinds = ["washing machine"]
group = "noise"
[[cause]]
term = "coin in the pump"
written = ["coin found"]
kinds = ["washing machine"]
parts = []
symptoms = ["hums"]
share = 3
[[part]]
term = "lint comb"
price = 4.5
[codes.Ostrel]
letter = "K"
digits = 2
[codes.Brell.table]
"red blinks" = "E07"
[ignore]
words = ["please call first"]
"""


def make_words(rng: random.Random, folder: Path) -> Path:
    """A workshop's own word list with odd values, TOML or CSV."""
    if rng.random() < 0.4:
        lines = ["list,term,written,kinds,parts,group"]
        for _ in range(rng.choice((1, 5, 50))):
            cell = [
                rng.choice(("kind", "cause", "part", "complaint", "outcome", "make", "finding")),
                "hums",
                "a|b",
                "",
                "",
                "",
            ]
            cell[rng.randrange(6)] = rng.choice(HOSTILE)
            lines.append(",".join('"' + text.replace('"', '""') + '"' for text in cell))
        content = "\n".join(lines).encode("utf-8", "replace")
        return written(folder, "own.csv", bend(rng, content) if rng.random() < 0.5 else content)
    lines = GOOD_WORDS.splitlines()
    for _ in range(rng.choice((1, 1, 3))):
        at = rng.randrange(len(lines))
        name = lines[at].split("=")[0]
        odd = rng.choice(
            ("1", "-1", "nan", "[]", "{}", "[1]", "true", "1e400", "9" * 30, json.dumps(rng.choice(HOSTILE)))
        )
        lines[at] = (
            f"{name}= {odd}"
            if "=" in lines[at]
            else rng.choice(("[x]", "[[y]]", f"[codes.{json.dumps(rng.choice(HOSTILE))}]"))
        )
    content = "\n".join(lines).encode("utf-8", "replace")
    return written(folder, "own.toml", bend(rng, content) if rng.random() < 0.4 else content)


class Harmful:
    """Runs code when unpickled."""

    def __reduce__(self) -> tuple[Callable[[str], object], tuple[str]]:
        """Write a file as a sign that code ran."""
        return os.mkdir, ("code-ran",)


def damage_model(rng: random.Random, folder: Path) -> None:
    """Damage one file of a model folder in place: bytes, values, shapes, or an array that runs code when unpickled."""
    file = folder / rng.choice(("model.json", "model.json", "weights.npz", "weights.npz", "card.json"))
    what = rng.randrange(4)
    if what == 0:
        file.write_bytes(bend(rng, file.read_bytes()))
    elif what == 1:
        file.unlink()
    elif file.suffix == ".json":
        told = json.loads(file.read_text(encoding="utf-8"))
        name = rng.choice(list(told))
        told[name] = rng.choice(
            (None, -1, 10**12, "x", [], {}, [None], told[name], {"a": told[name]}, [told[name]], float("nan"))
        )
        file.write_text(json.dumps(told), encoding="utf-8")
    else:
        with np.load(file, allow_pickle=False) as packed:
            arrays = {name: packed[name] for name in packed.files}
        name = rng.choice(list(arrays))
        held = arrays[name]
        bent: list[np.ndarray] = [
            held[:0], held * 0 - 1, held.astype(float) * np.nan, held.reshape(-1)[:1], np.array(["x"]), held[..., None],
            np.array([Harmful()], dtype=object), held + 10**9, np.repeat(held, 2, axis=0), np.zeros(()),
        ]  # fmt: skip
        arrays[name] = rng.choice(bent)
        np.savez(file, **arrays)


OURS = ("visit", "raw_record", "setting", "episode_course", "load_batch", "stage_visit", "term", "database_version")


def make_database(rng: random.Random, folder: Path, ours: Path) -> Path:
    """A database of another maker, or one of ours with something put in the place of what is ours."""
    import duckdb

    path = folder / "shop.duckdb"
    name = rng.choice(OURS)
    foreign = (
        f"create table {name} (a integer)",
        f"create view {name} as select 1 as a",
        f"create macro {name}() as table select 1 as a",
        "create macro lower(x) as 'other'",
        "create macro coalesce(x, y) as y",
        "create schema main2; create table main2.visit (a integer)",
        "create type kind as enum ('a')",
        "create sequence visit_id",
    )
    bent = (
        f"drop table {name}",
        f"drop table {name}; create view {name} as select 1 as a",
        f"alter table {name} add column added varchar",
        f"alter table {name} rename to renamed",
        "update database_version set version = 99",
        "update database_version set version = -1",
        "delete from database_version",
        "create macro lower(x) as 'other'",
        "create macro count_of(x) as x",
        "create macro regexp_matches(x, y) as true",
        "create or replace view visit as select * from stage_visit",
        "create view own_thing as select * from read_text('/etc/hostname')",
        "create trigger",
    )
    how = rng.randrange(4)
    if how == 0:
        starts = (
            b"SQLite format 3\x00",
            b"\x00\x01\x00\x00Standard Jet DB\x00",
            b"PAR1",
            b"Obj\x01",
            b"\x89HDF\r\n\x1a\n",
        )
        return written(folder, "shop.duckdb", rng.choice(starts) + rng.randbytes(rng.choice((0, 90, 20_000))))
    if how == 1:
        return written(folder, "shop.duckdb", bend(rng, ours.read_bytes()[: rng.choice((4096, 20_000, None))]))
    if how == 3:
        path.write_bytes(ours.read_bytes())
    with duckdb.connect(path) as connection:
        for statement in rng.sample(bent if how == 3 else foreign, 1 + (rng.random() < 0.3)):
            with contextlib.suppress(duckdb.Error):  # some do not go together
                connection.execute(statement)
    return path


RIGHTS = (
    (".", 0o555), (".", 0o444), (".", 0o000), ("out", 0o555), ("out", 0o000), ("shop.duckdb", 0o444), ("shop.duckdb", 0o000),
    ("shop.key", 0o000), ("shop.toml", 0o000), ("shop.models", 0o555), ("shop.models", 0o000), ("shop.models/0001", 0o000),
    ("shop.models/in_use.json", 0o000), ("shop.lock", 0o000), ("jobs.csv", 0o000), ("kept.zip", 0o000),
)  # fmt: skip


@contextlib.contextmanager
def without_rights(rng: random.Random, folder: Path) -> Iterator[None]:
    """Take from one or two places of a workshop's folder the right to write or read them; a root user must be bound."""
    taken = [(folder / name, mode) for name, mode in rng.sample(RIGHTS, rng.choice((1, 1, 2)))]
    for place, mode in sorted(taken, reverse=True):  # a folder after what lies in it
        if not place.exists():
            place.touch()
        place.chmod(mode)
    try:
        yield
    finally:
        for place, _ in sorted(taken):
            place.chmod(0o755 if place.is_dir() else 0o644)
