"""A library of the test's own behind the pages, and a browser's manners: cookies kept, Origin sent, the form's proof found."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from pipeline import Workshop
from pipeline.browser.guard import Guard
from pipeline.browser.site import make_app
from tests.worlds import office_files, visit_workshop
from tests.worlds.shared import built_once

HOST = "127.0.0.1:8750"


class Browser:
    """What a person does: open an address, fill in a form that the page holds, press a button."""

    def __init__(self, app: Any, host: str = HOST, remote: str = "127.0.0.1") -> None:
        self.client = app.test_client()
        self.host, self.remote = host, remote
        self.csrf = ""

    def get(self, path: str, **more: Any) -> Any:
        return self._seen(self.client.open(path, **self._as(more)))

    def post(self, path: str, data: dict[str, Any] | None = None, **more: Any) -> Any:
        headers = {"Origin": f"http://{self.host}", **more.pop("headers", {})}
        return self._seen(
            self.client.post(path, data={"csrf": self.csrf, **(data or {})}, headers=headers, **self._as(more))
        )

    def _as(self, more: dict[str, Any]) -> dict[str, Any]:
        return {"base_url": f"http://{self.host}", "environ_base": {"REMOTE_ADDR": self.remote}, **more}

    def _seen(self, response: Any) -> Any:
        found = re.search(r'name="csrf" value="([^"]+)"', response.text if response.mimetype == "text/html" else "")
        self.csrf = found[1] if found else self.csrf
        return response


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One for all tests of a run: jobs are recorded into it, nothing else of it changes."""
    return shutil.copytree(visit_workshop.folder(300), tmp_path_factory.mktemp("open") / "shop") / "workshop.duckdb"


def served(library: Path) -> Any:
    """The pages of a library, which they let go after each request: the test opens it too."""
    app = make_app(library, Guard(frozenset({HOST})))
    app.extensions["library"].lingers = 0.0
    return app


@pytest.fixture(scope="session")
def app(library: Path) -> Any:
    return served(library)


@pytest.fixture
def browser(app: Any) -> Browser:
    return Browser(app)


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The database of a small shop, without a model; the module's own to change."""
    return shutil.copytree(office_files.folder(), tmp_path_factory.mktemp("office") / "shop") / "workshop.duckdb"


@pytest.fixture(scope="module")
def owner(office: Path) -> Browser:
    return Browser(served(office))


@pytest.fixture
def empty(tmp_path: Path) -> Browser:
    """Pages over a workshop in which nothing is yet."""
    made = built_once("empty", lambda folder: Workshop.open(folder / "workshop.duckdb").close())
    return Browser(served(shutil.copytree(made, tmp_path, dirs_exist_ok=True) / "workshop.duckdb"))


def worked(browser: Browser, response: Any) -> str:
    """What the page shows to which long work leads; the answer that began it is given."""
    assert response.status_code == 303 and response.location == "/working", response.text
    return followed(browser)


def followed(browser: Browser) -> str:
    """What the page shows once the work that runs has ended."""
    for _ in range(1200):
        response = browser.get("/working")
        if response.status_code == 303:
            return str(browser.get(response.location).text)
        if 'http-equiv="refresh"' not in response.text:
            return str(response.text)
        time.sleep(0.1)
    raise AssertionError("the work did not end")


@contextmanager
def running(db: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """The server as a process of its own: the address that lets a browser in, as its terminal shows it; the process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-c", "from pipeline.cli import main; main()"]
    server = subprocess.Popen(
        [*command, "open", "--db", str(db), "--port", str(port), "--no-browser"], stdout=subprocess.PIPE
    )
    try:
        assert server.stdout is not None
        told = re.search(r"is open at (\S+)", server.stdout.readline().decode())
        assert told is not None and told[1].startswith(f"http://127.0.0.1:{port}/")
        yield told[1], server
    finally:
        server.kill()
        server.communicate()
