"""The examples of the Python face run: each method of Workshop has one, and so do README's Python snippets.

They run one by one, each in a copy of one folder: ``jobs.csv``, a made-up history of sixty calls, and a workshop that has
loaded it and learned from it, open as ``workshop``.
"""

from __future__ import annotations

import doctest
import inspect
import re
from pathlib import Path
from typing import Any

import pytest

from pipeline import Workshop
from pipeline import workshop as face

README = Path(face.__file__).parents[1] / "README.md"
SNIPPET = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture
def names(sixty_calls: Path, monkeypatch: pytest.MonkeyPatch, quick_training: None):
    """What an example finds: its folder is the current one, and ``workshop`` is open."""
    monkeypatch.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 1)
    monkeypatch.chdir(sixty_calls)
    with Workshop.open("workshop.duckdb") as workshop:
        yield {"workshop": workshop, "Workshop": Workshop, "Path": Path}


def public() -> dict[str, Any]:
    """Public methods of Workshop."""
    return {name: method for name, method in inspect.getmembers(Workshop, callable) if not name.startswith("_")}


def examples() -> list[doctest.DocTest]:
    """Every docstring of the module that holds an example."""
    return [test for test in doctest.DocTestFinder().find(face) if test.examples]


@pytest.mark.parametrize("method", public())
def test_every_public_method_has_an_example(method: str):
    assert ">>> " in (inspect.getdoc(public()[method]) or "")


@pytest.mark.parametrize("example", examples(), ids=lambda example: example.name.removeprefix("pipeline.workshop."))
def test_an_example_gives_what_it_says(example: doctest.DocTest, names: dict[str, Any]):
    told: list[str] = []
    example.globs |= names
    doctest.DocTestRunner(verbose=False, optionflags=doctest.ELLIPSIS).run(example, out=told.append)
    assert not told, "".join(told)


@pytest.mark.parametrize("snippet", SNIPPET.findall(README.read_text(encoding="utf-8")))
def test_a_python_snippet_of_the_readme_runs(
    snippet: str, sixty_calls: Path, monkeypatch: pytest.MonkeyPatch, quick_training: None
):
    monkeypatch.chdir(sixty_calls)
    exec(compile(snippet, "README.md", "exec"), {"__name__": "readme"})
