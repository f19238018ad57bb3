"""Help, errors and start-up of the command line."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from pipeline import Workshop
from pipeline.cli import app
from tests.command_in_fork import in_fork
from tests.worlds.empty import empty_workshop

ROOT = Path(__file__).parents[2]
COMMANDS = {
    "demo", "load", "train", "causes", "round", "report", "backtest", "models", "review", "export", "forget", "status",
    "backup", "restore", "advice", "batches", "take-back", "tables", "words", "open",
}  # fmt: skip


def all_commands() -> list[tuple[str, object]]:
    found = []
    for name, command in get_command(app).commands.items():
        found.append((name, command))
        found += [(f"{name} {inner}", c) for inner, c in getattr(command, "commands", {}).items()]
    return found


def test_the_commands_are_those_of_the_manual() -> None:
    assert {name for name, _ in all_commands() if " " not in name} == COMMANDS


@pytest.mark.parametrize(("name", "command"), all_commands())
def test_every_command_has_help_with_an_example_that_parses(name: str, command: Any) -> None:
    example = re.search(r"Example: (.+)", command.help or "")
    assert example, f"{name} has no example"
    for one in example[1].split(", then "):
        program, *words = shlex.split(one)
        assert program == "priorjobs"
        assert words[: len(name.split())] == name.split()
        command.make_context(name, words[len(name.split()) :])  # raises where the example is wrong use


@pytest.mark.parametrize(("name", "command"), all_commands())
def test_every_argument_and_option_says_what_it_is_for(name: str, command: Any) -> None:
    assert [p.name for p in command.params if not getattr(p, "help", None)] == []


def test_the_shell_completes_commands_options_and_tables() -> None:
    def completed(line: str) -> set[str]:
        asked = {
            "_PRIORJOBS_COMPLETE": "complete_bash",
            "COMP_WORDS": line,
            "COMP_CWORD": str(len(line.split(" ")) - 1),
        }
        ran = subprocess.run(
            [sys.executable, "-c", "from pipeline.cli import main; main()"],
            capture_output=True, text=True, env={"PYTHONPATH": str(ROOT)} | asked, check=False,
        )  # fmt: skip
        return set(ran.stdout.split())

    assert completed("priorjobs re") == {"report", "review", "restore"}
    assert "--complaint" in completed("priorjobs causes --c")
    assert completed("priorjobs export part_") == {"part_fitted", "part_trace", "part_verdict"}


def test_documents_name_every_command_and_no_other() -> None:
    for document in ("README.md",):
        named = set(re.findall(r"priorjobs ([a-z]+(?:-[a-z]+)*)\b", (ROOT / document).read_text()))
        assert named >= COMMANDS, f"{document} misses {COMMANDS - named}"
        assert named <= COMMANDS, f"{document} names {named - COMMANDS}"


@pytest.mark.parametrize("words", [("--help",), ("status",), ("load", "nowhere.csv"), ("nonsense",)])
def test_light_commands_load_no_heavy_library(words: tuple[str, ...], tmp_path: Path) -> None:
    code = (
        "import sys, pipeline.cli\n"
        "try: pipeline.cli.main()\n"
        "except SystemExit: pass\n"
        "heavy = {'pandas', 'sklearn', 'scipy', 'vl_convert', 'rich'} & set(sys.modules)\n"
        "sys.stderr.write('HEAVY ' + ','.join(sorted(heavy)))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT)},
    )
    assert ran.stderr.endswith("HEAVY "), ran.stderr


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("status",), 2),
        (("nonsense",), 2),
        (("load", "nowhere.csv"), 2),
        (("causes",), 2),
        (("report", "--db", "/nowhere/shop.duckdb"), 2),
        (("load", "x.csv", "--db", "/nowhere/shop.duckdb"), 3),
    ],
)
def test_wrong_use_gets_a_sentence_a_remedy_and_the_status(words: tuple[str, ...], status: int, tmp_path: Path) -> None:
    ran = in_fork(tmp_path, shlex.join(words))
    assert ran.status == status, ran.err
    assert ran.out == ""
    assert len(ran.err.splitlines()) >= 2
    assert "Traceback" not in ran.err


def test_with_json_a_fault_is_one_object_on_standard_output(tmp_path: Path) -> None:
    ran = in_fork(tmp_path, "status --json")
    assert ran.status == 2
    assert set(json.loads(ran.out)["error"]) == {"code", "what", "remedy"}


def test_a_bug_of_ours_is_named_as_one_without_a_traceback(monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    from pipeline import cli

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("inner words")

    monkeypatch.setattr(cli, "app", broken)
    with pytest.raises(SystemExit, match="2"):
        cli.main()
    told = capsys.readouterr().err
    assert "a bug in priorjobs" in told
    assert "Traceback" not in told


@pytest.mark.parametrize("hostile", ["\x1b[2Jwiped", "\u202egnp.exe", "a\x00b"])
def test_nothing_from_a_record_can_act_on_the_terminal(hostile: str) -> None:
    from pipeline.terminal.text import safe

    assert all(c.isprintable() or c in "\n\N{REPLACEMENT CHARACTER}" for c in safe(hostile))


def test_a_layout_is_not_saved_over_the_settings(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text("visit_date,appliance_kind,job_no,complaint\n2025-01-02,w/m,J1,leaks\n")
    settings = tmp_path / "shop.toml"
    settings.write_text("window_days = 28\n")
    ran = in_fork(tmp_path, "load jobs.csv --db shop.duckdb --save-layout shop.toml")
    assert ran.status == 2
    assert "settings" in ran.err
    assert settings.read_text() == "window_days = 28\n"


def test_a_layout_in_the_place_of_settings_is_named_as_one(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text('name = "office"\n[columns]\nvisit_date = "Day"\n')
    ran = in_fork(tmp_path, "load jobs.csv --db shop.duckdb")
    assert ran.status == 2
    assert "is a layout" in ran.err


def test_a_code_in_the_complaint_reaches_record_and_question_alike(tmp_path: Path, without_marts: None) -> None:
    (tmp_path / "jobs.csv").write_text(
        "visit_date,appliance_kind,job_no,complaint,fault_code\n"
        '2025-01-02,w/m,J1,"won\'t drain, shows K07",\n2025-01-03,w/m,J2,leaks,K8\n'
    )
    with Workshop.open(empty_workshop(tmp_path / "shop.duckdb")) as workshop:
        workshop.load([tmp_path / "jobs.csv"])
        codes = workshop.table("stage_symptom").query("source == 'code'").sort_values("visit_id")["symptom"].tolist()
        assert codes == ["K07", "K08"]
        asked = workshop.causes(kind="w/m", complaint="won't drain, shows K07").as_json()["asked"]
        assert asked["code"] == ["K07"]


def test_a_bar_is_drawn_over_itself_on_a_terminal_and_left_out_elsewhere(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipeline.terminal.progress import bar, progress

    def told() -> str:
        tell = progress(False)
        tell("Building …")
        for done in range(3):
            tell(bar(done, 2, "tables"))
        return capsys.readouterr().err

    assert told() == "Building …\n"
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    empty, half, full = "░" * 20, "█" * 10 + "░" * 10, "█" * 20
    assert told() == f"Building …\n{empty} 0 of 2 tables\r{half} 1 of 2 tables\r{full} 2 of 2 tables\n"
    tell = progress(False)
    tell(bar(0, 2, "steps: a long one"))
    tell(bar(1, 2, "steps: short"))
    assert capsys.readouterr().err == f"{empty} 0 of 2 steps: a long one\r{half} 1 of 2 steps: short     \r"
