"""Data moves one way, and so do imports: no module needs another that needs it, not even inside a function."""

from __future__ import annotations

import ast
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


class Imports(ast.NodeVisitor):
    """Modules of ours that a module imports, anywhere in it but for types alone."""

    def __init__(self) -> None:
        self.found: set[str] = set()

    def visit_If(self, node: ast.If) -> None:
        if ast.unparse(node.test) != "TYPE_CHECKING":
            self.generic_visit(node)

    def visit_Import(self, node: ast.Import) -> None:
        self.found |= {name.name for name in node.names}

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        for name in node.names:
            inner = f"{node.module}.{name.name}"
            self.found.add(inner if inner in MODULES else str(node.module))


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
