"""A backup holds the whole workshop; nothing but a whole one is restored, and all of it or nothing."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path

import duckdb
import pytest

import sql
from pipeline.errors import DatabaseUnusable, FileUnreadable, UsageError
from pipeline.load.hashes import load_key
from pipeline.store.atomic_write import take_free_name
from pipeline.store.backup import restore_backup, write_backup
from pipeline.store.database import Database
from pipeline.store.outputs import MANIFEST
from tests.worlds.empty import empty_workshop

ROOT = Path(sql.__file__).parents[1]


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return empty_workshop(tmp_path / "shop.duckdb")


def packed(place: Path, members: Mapping[str, bytes], listed: Mapping[str, str] | None = None) -> Path:
    """A zip file of these members and the checksums of them, or of those listed."""
    import hashlib

    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
        sums = {name: hashlib.sha256(content).hexdigest() for name, content in members.items()}
        archive.writestr(MANIFEST, json.dumps({"sha256": sums if listed is None else listed}))
    return place


def test_a_backup_restores_every_table_key_setting_and_model(db: Path, tmp_path: Path) -> None:
    with duckdb.connect(db) as connection:
        connection.execute("insert into term values ('kind', 'kettle', 'own')")
    db.with_suffix(".key").write_text("ab" * 32)
    db.with_suffix(".toml").write_text("window_days = 28\n")
    (db.with_suffix(".models") / "0001").mkdir(parents=True)
    (db.with_suffix(".models") / "0001" / "card.json").write_text("{}")
    write_backup(db, tmp_path / "kept.zip")

    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    restore_backup(tmp_path / "kept.zip", elsewhere / "shop.duckdb")

    assert (elsewhere / "shop.key").read_text() == "ab" * 32
    assert (elsewhere / "shop.key").stat().st_mode & 0o777 == 0o600
    assert (elsewhere / "shop.toml").read_text() == "window_days = 28\n"
    assert (elsewhere / "shop.models" / "0001" / "card.json").read_text() == "{}"
    with (
        duckdb.connect(db, read_only=True) as before,
        duckdb.connect(elsewhere / "shop.duckdb", read_only=True) as after,
    ):
        names = [row[0] for row in before.execute("select table_name from duckdb_tables()").fetchall()]
        assert len(names) > 20
        for name in names:
            assert before.execute(f"from {name}").fetchall() == after.execute(f"from {name}").fetchall(), name
        comments = "select table_name, column_name, comment from duckdb_columns() where not internal order by all"
        assert before.execute(comments).fetchall() == after.execute(comments).fetchall()


def test_a_backup_is_never_written_over_nor_restored_over(db: Path, tmp_path: Path) -> None:
    write_backup(db, tmp_path / "kept.zip")
    with pytest.raises(UsageError, match="already exists"):
        write_backup(db, tmp_path / "kept.zip")
    with pytest.raises(UsageError, match="already exists"):
        restore_backup(tmp_path / "kept.zip", db)
    (tmp_path / "new.duckdb.wal").write_bytes(b"of another database")
    with pytest.raises(UsageError, match=r"new\.duckdb\.wal"):
        restore_backup(tmp_path / "kept.zip", tmp_path / "new.duckdb")
    assert not (tmp_path / "new.duckdb").exists()


def test_a_damaged_backup_changes_nothing(db: Path, tmp_path: Path) -> None:
    write_backup(db, tmp_path / "kept.zip")
    content = bytearray((tmp_path / "kept.zip").read_bytes())
    middle = len(content) // 2
    content[middle : middle + 64] = bytes(64)
    (tmp_path / "damaged.zip").write_bytes(content)
    with pytest.raises(FileUnreadable):
        restore_backup(tmp_path / "damaged.zip", tmp_path / "new.duckdb")
    assert not list(tmp_path.glob("new.*"))


def test_nonsense_is_not_restored(db: Path, tmp_path: Path) -> None:
    whole = db.read_bytes()
    with duckdb.connect(tmp_path / "foreign.duckdb") as connection:
        connection.execute("create table patient (name varchar)")
    nonsense: dict[str, Mapping[str, bytes]] = {
        "nothing": {},
        "a key alone": {"workshop.key": b"ab" * 32},
        "a text as database": {"workshop.duckdb": b"not a database" * 400},
        "another program's database": {"workshop.duckdb": (tmp_path / "foreign.duckdb").read_bytes()},
        "a short key": {"workshop.duckdb": whole, "workshop.key": b"ab"},
        "a folder for the key": {"workshop.duckdb": whole, "workshop.key/x": b"ab" * 32},
        "a file for the models": {"workshop.duckdb": whole, "workshop.models": b"x"},
        "a file and a folder of one name": {
            "workshop.duckdb": whole,
            "workshop.models/a": b"",
            "workshop.models/a/b": b"",
        },
        "settings that are none": {"workshop.duckdb": whole, "workshop.toml": b"= = ="},
        "a name that leads out": {"workshop.duckdb": whole, "workshop.models/../../x": b"x"},
        "something else": {"workshop.duckdb": whole, "workshop.lock": b""},
    }
    for what, members in nonsense.items():
        (tmp_path / "there").mkdir()
        with pytest.raises(FileUnreadable):
            restore_backup(packed(tmp_path / "backup.zip", members), tmp_path / "there" / "new.duckdb")
        assert not list((tmp_path / "there").iterdir()), what
        (tmp_path / "there").rmdir()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_or_a_device_is_no_backup(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "kept.zip")
    for source in (tmp_path / "kept.zip", Path("/dev/zero"), tmp_path):
        with pytest.raises(FileUnreadable, match="a pipe or a device"):
            restore_backup(source, tmp_path / "new.duckdb")
    assert not list(tmp_path.glob("new.*"))


def test_what_unpacks_beyond_reason_is_refused_unread(db: Path, tmp_path: Path) -> None:
    bomb = packed(tmp_path / "bomb.zip", {"workshop.duckdb": bytes(100 << 20)})
    with pytest.raises(FileUnreadable, match="beyond"):
        restore_backup(bomb, tmp_path / "new.duckdb")
    listed = {f"workshop.models/{number:060}": "0" * 64 for number in range(20_000)}
    with pytest.raises(FileUnreadable):
        restore_backup(packed(tmp_path / "list.zip", {}, listed), tmp_path / "new.duckdb")
    assert not list(tmp_path.glob("new.*"))


@pytest.mark.parametrize("moves", [0, 1, 2, 3, 4])
def test_a_restore_killed_while_it_places_files_is_completed_by_the_next(moves: int, db: Path, tmp_path: Path) -> None:
    db.with_suffix(".key").write_text("ab" * 32)
    db.with_suffix(".toml").write_text("window_days = 28\n")
    (tmp_path / "shop.models" / "0001").mkdir(parents=True)
    (tmp_path / "shop.models" / "0001" / "card.json").write_text("{}")
    write_backup(db, tmp_path / "kept.zip")
    code = f"""
import os
from pathlib import Path
from pipeline.load.hashes import load_key
from pipeline.store.atomic_write import take_free_name
from pipeline.store.backup import restore_backup
rename, left = Path.rename, [{moves}]
def counted(self, target):
    if not left[0]:
        os._exit(9)
    left[0] -= 1
    return rename(self, target)
Path.rename = counted
restore_backup(Path("kept.zip"), Path("new.duckdb"))
"""
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False
    )
    new = tmp_path / "new.duckdb"
    assert new.exists() is (ran.returncode == 0) is (moves == 4)
    if not new.exists():
        with pytest.raises(DatabaseUnusable, match="interrupted"):
            Database.open(new)
        restore_backup(tmp_path / "kept.zip", new)
    assert sorted(path.name for path in tmp_path.glob("new.*")) == ["new.duckdb", "new.key", "new.models", "new.toml"]
    assert (tmp_path / "new.models" / "0001" / "card.json").read_text() == "{}"


def test_of_two_backups_to_one_name_one_is_told_and_the_other_whole(db: Path, tmp_path: Path) -> None:
    code = "from pipeline.cli import main; main()"
    words = [sys.executable, "-c", code, "backup", "kept.zip", "--db", "shop.duckdb"]
    begun = [
        subprocess.Popen(words, cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)}, stdout=-1, stderr=-1)
        for _ in range(2)
    ]
    said = [one.communicate() for one in begun]
    assert sorted(one.returncode for one in begun) == [0, 2], said
    restore_backup(tmp_path / "kept.zip", tmp_path / "new.duckdb")
    assert not list(tmp_path.glob(".*"))


def test_where_there_are_no_hard_links_a_backup_is_written_and_none_written_over(
    db: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")  # as on a stick formatted exFAT

    monkeypatch.setattr(os, "link", refused)
    key = load_key(tmp_path / "shop.key")
    assert load_key(tmp_path / "shop.key") == key
    write_backup(db, tmp_path / "kept.zip")
    restore_backup(tmp_path / "kept.zip", tmp_path / "new.duckdb")
    assert load_key(tmp_path / "new.key") == key
    with pytest.raises(FileExistsError):
        take_free_name(tmp_path / "new.key", tmp_path / "kept.zip")
    assert not list(tmp_path.glob(".*"))


def test_what_a_killed_backup_left_is_removed_by_the_next(db: Path, tmp_path: Path) -> None:
    code = (
        "import os, zipfile; from pathlib import Path; from pipeline.store.backup import write_backup\n"
        "zipfile.ZipFile.writestr = lambda *_: os._exit(9)\n"
        f"write_backup(Path({str(db)!r}), Path({str(tmp_path / 'kept.zip')!r}))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT).returncode == 9
    assert len(list(tmp_path.glob(".kept.zip.*"))) == 1
    write_backup(db, tmp_path / "kept.zip")
    assert not list(tmp_path.glob(".*"))
