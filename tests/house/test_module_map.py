"""The map of modules in DEVELOPERS.md names every module in its room, and none that is not there."""

from __future__ import annotations

import re
from pathlib import Path

import sql

ROOT = Path(sql.__file__).parents[1]
MAP = re.search(
    r"^## Modules\n+```\n(.*?)^```", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
)
FOLDERS = ("pipeline", "models", "reports")


def rooms() -> dict[str, list[str]]:
    """Lines of the map by folder and room; modules beside the rooms stand under their folder."""
    assert MAP is not None
    found: dict[str, list[str]] = {}
    folder = room = ""
    for line in MAP[1].splitlines():
        indent, name = len(line) - len(line.lstrip()), line.split()[0]
        if indent == 0:
            folder = room = name.rstrip("/")
        elif indent == 2:
            room = f"{folder}/{name.rstrip('/')}" if name.endswith("/") else folder
        found.setdefault(room, []).append(line)
    return found


def modules() -> set[str]:
    return {
        path.relative_to(ROOT).with_suffix("").as_posix()
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("*.py")
        if path.stem != "__init__"
    }


def test_every_module_is_on_the_map() -> None:
    named = {room: set(re.findall(r"\w+", " ".join(lines))) for room, lines in rooms().items()}
    assert [one for one in sorted(modules()) if Path(one).name not in named.get(str(Path(one).parent), set())] == []


def test_a_line_of_the_map_names_modules_that_are_there() -> None:
    heads = [(room, re.split(r" {2,}|; ", line.strip())[0]) for room, lines in rooms().items() for line in lines]
    names = [f"{room}/{name}" for room, head in heads if "/" not in head for name in re.split(r"[ ,]+", head)]
    assert len(names) > 100
    assert [name for name in names if name not in modules()] == []
