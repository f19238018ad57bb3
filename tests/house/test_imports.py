"""Data moves one way, and so do imports: no module needs another that needs it, not even inside a function or for a type."""

from __future__ import annotations

import ast
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import sql

ROOT = Path(sql.__file__).parents[1]
FOLDERS = ("pipeline", "models", "reports", "sql", "demo_data")
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for folder in FOLDERS
    for path in sorted((ROOT / folder).rglob("*.py"))
}


DOWN = (
    ("pipeline.cli", "pipeline.commands"),
    ("pipeline.browser",),
    ("pipeline.demo", "pipeline.workshop"),
    ("pipeline.on_site",),
    ("pipeline.visit", "pipeline.month", "pipeline.upkeep"),
    ("pipeline.call",),
    ("pipeline.train",),
    ("pipeline.load",),
    ("pipeline.advice", "pipeline.read", "pipeline.terminal"),
    ("pipeline.words",),
    ("pipeline.values", "pipeline.store"),
    ("pipeline.settings",),
    ("pipeline.errors", "pipeline.small_text"),
    ("reports.pages",),
    ("reports.charts",),
    ("reports.render",),
    ("models.advice", "models.evaluate", "models.text_coder"),
    ("models.causes",),
    ("models.plan", "models.statistics"),
    ("sql",),
)
"""Rooms from the top floor down: a room needs rooms of lower floors, or of its own floor where they need it not."""


class Imports(ast.NodeVisitor):
    """Modules of ours that a module imports, anywhere in it: at its head, inside functions, for types alone."""

    def __init__(self) -> None:
        self.found: set[str] = set()

    def visit_Import(self, node: ast.Import) -> None:
        self.found |= {name.name for name in node.names}

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        for name in node.names:
            inner = f"{node.module}.{name.name}"
            self.found.add(inner if inner in MODULES else str(node.module))


@cache
def needs(module: str) -> set[str]:
    imports = Imports()
    imports.visit(ast.parse(MODULES[module].read_text(encoding="utf-8")))
    return {name for name in imports.found if name in MODULES and name != module}


def test_imports_run_in_no_circle() -> None:
    assert len(MODULES) > 100
    assert "pipeline.load.stage" in needs("pipeline.load.load")
    assert "models.causes.storage" in needs("pipeline.train.train")  # inside functions too
    TopologicalSorter({module: needs(module) for module in MODULES}).prepare()  # raises CycleError with the circle


def test_only_pipeline_knows_the_other_folders() -> None:
    for module in MODULES:
        folder = module.split(".")[0]
        if folder in ("sql", "models", "reports"):
            assert {name.split(".")[0] for name in needs(module)} <= {folder}, module


def room_of(module: str) -> str:
    """The room a module is in; the roots of packages that only name their rooms are none."""
    return ".".join(module.split(".")[:2]) if module.split(".")[0] != "sql" else "sql"


def test_every_room_stands_on_a_floor() -> None:
    rooms = {room_of(module) for module in MODULES if not module.startswith("demo_data")}
    assert rooms - {"pipeline", "models", "reports"} == {room for floor in DOWN for room in floor}


def test_rooms_need_only_what_is_below_them() -> None:
    floor = {room: number for number, rooms in enumerate(DOWN) for room in rooms}
    climbs = {
        (module, needed)
        for module in MODULES
        for needed in needs(module)
        if floor.get(room_of(module), -1) > floor.get(room_of(needed), 99)
    }
    assert climbs == set()


def test_no_two_rooms_need_each_other() -> None:
    rooms: dict[str, set[str]] = {room_of(module): set() for module in MODULES}
    for module in MODULES:
        rooms[room_of(module)] |= {room_of(needed) for needed in needs(module)} - {room_of(module)}
    TopologicalSorter(rooms).prepare()
