"""The server as a process: killed it loses nothing, and a command line beside it is served."""

from __future__ import annotations

import http.cookiejar
import json
import re
import subprocess
import sys
import time
import urllib.error
import urllib.request
from uuid import uuid4

from tests.browser.conftest import running
from tests.worlds import office_files


class Caller:
    """Asks a running server as a browser does."""

    def __init__(self, start):
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        self.address = start.partition("/?")[0]
        self.get(start.removeprefix(self.address))

    def get(self, path):
        try:
            with self.opener.open(self.address + path, timeout=120) as answer:
                return answer.read().decode()
        except urllib.error.HTTPError as told_to_wait:
            assert told_to_wait.code == 503
            return told_to_wait.read().decode()

    def post(self, path, content=b"", **fields):
        fields["csrf"] = re.search(r'name="csrf" value="([^"]+)"', self.get("/records"))[1]
        mark = uuid4().hex
        parts = [f'--{mark}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n' for k, v in fields.items()]
        file = f'--{mark}\r\nContent-Disposition: form-data; name="files"; filename="year.csv"\r\n\r\n'
        body = "".join(parts).encode() + (file.encode() + content + b"\r\n") * bool(content) + f"--{mark}--".encode()
        headers = {"Origin": self.address, "Content-Type": f"multipart/form-data; boundary={mark}"}
        asked = urllib.request.Request(self.address + path, body, headers)
        with self.opener.open(asked, timeout=120) as answer:
            return answer.read().decode()

    def until(self, path, text):
        for _ in range(600):
            self.get("/working")
            if text in (page := self.get(path)):
                return page
            time.sleep(0.2)
        raise AssertionError(f"{path} never says {text}")


def test_a_server_killed_while_it_loads_loses_nothing_and_a_command_is_served_beside_it(tmp_path):
    db = tmp_path / "workshop.duckdb"
    content = office_files.write(tmp_path / "year.csv", is_own=True).read_bytes()
    with running(db) as (start, server):
        Caller(start).post("/records", content)
        server.kill()
    with running(db) as (start, _):
        caller = Caller(start)
        page = caller.get("/records")
        assert "year.csv" in page
        if "Read it again" in page:
            caller.post("/records/waiting", file="year.csv")
        caller.until("/records", "118 visits")
        told = subprocess.run(
            [sys.executable, "-c", "from pipeline.cli import main; main()", "status", "--json", "--db", str(db)],
            capture_output=True,
            check=True,
            timeout=120,
        )
        assert json.loads(told.stdout)["loaded"]["visits"] == 118
