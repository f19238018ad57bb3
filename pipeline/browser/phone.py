"""The technician's phone: a one-time code, a session with an end, and pages that hold nothing of the owner's."""

from __future__ import annotations

import secrets
import threading
import time
from dataclasses import dataclass, field

import flask

from pipeline.browser.app import go, library, page
from pipeline.browser.tomorrow import CALLS, asked_of, calls
from pipeline.errors import UsageError

CODE_LASTS = 600.0  # seconds
SESSION_LASTS = 12 * 3600.0  # seconds: a working day
TRIES = 5  # wrong codes, then the code is void
LOCKED = 60.0  # seconds without any try after that
SHOWN = ("job_no", "appliance_kind", "make", "model", "age", "complaint", "fault_code")
OPEN_TO_ALL = ("style", "door.ask_code", "door.enter")

owner = flask.Blueprint("phone", __name__)
door = flask.Blueprint("door", __name__)


@dataclass
class Door:
    """Who may come in from the workshop's network.

    Attributes
    ----------
    address
        Where a phone asks, such as ``http://192.168.1.20:8751/``.
    """

    address: str
    _code: str = ""
    _until: float = 0.0
    _wrong: int = 0
    _locked_until: float = 0.0
    _sessions: dict[str, float] = field(default_factory=dict)
    _turn: threading.Lock = field(default_factory=threading.Lock)

    def code(self) -> str:
        """The code that lets one phone in; a new one where the last was used, void or too old."""
        with self._turn:
            if not self._code or time.monotonic() > self._until:
                self._renew()
            return self._code

    def renew(self) -> None:
        """Make the code void and give another."""
        with self._turn:
            self._renew()

    def let_in(self, code: str) -> str:
        """Take a code once; gives the session's name.

        Raises
        ------
        UsageError
            Another code is in force, or too many wrong ones were tried.
        """
        with self._turn:
            now = time.monotonic()
            if now < self._locked_until:
                raise UsageError("Too many wrong codes were tried.", "Wait a minute, then ask for a new code.")
            is_right = (
                bool(self._code) and now <= self._until and secrets.compare_digest(code.encode(), self._code.encode())
            )
            if not is_right:
                self._wrong += 1
                if self._wrong >= TRIES:
                    self._code, self._wrong, self._locked_until = "", 0, now + LOCKED
                raise UsageError("This code is not valid.", "Type the code that the workshop's page shows now.")
            self._renew()
            name = secrets.token_urlsafe(24)
            self._sessions[name] = now + SESSION_LASTS
            return name

    def knows(self, name: str) -> bool:
        """Whether a session has not ended."""
        return self._sessions.get(name, 0.0) > time.monotonic()

    def count(self) -> int:
        """Sessions that have not ended."""
        return sum(end > time.monotonic() for end in self._sessions.values())

    def end(self, name: str | None = None) -> None:
        """End one session, or all."""
        with self._turn:
            self._sessions = {kept: end for kept, end in self._sessions.items() if name is not None and kept != name}

    def _renew(self) -> None:
        self._code = f"{secrets.randbelow(10**8):08}"
        self._until, self._wrong = time.monotonic() + CODE_LASTS, 0


def the_door() -> Door | None:
    """The door of this server; None = it listens on this machine only."""
    held: Door | None = flask.current_app.extensions.get("door")
    return held


@owner.get("/phone")
def code() -> flask.Response:
    """The code as text and as a picture to scan."""
    held = the_door()
    if held is None:
        return page("phone.html", door=None)
    import segno

    text = held.code()
    picture = segno.make(f"{held.address}in?code={text}", error="m").svg_data_uri(scale=6, border=4, light="#fff")
    return page("phone.html", door=held, text=f"{text[:4]} {text[4:]}", picture=picture, minutes=round(CODE_LASTS / 60))


@owner.post("/phone")
def change() -> flask.Response:
    """Let phones in from now on; then give a new code, or end every session."""
    held = the_door()
    if held is None:
        flask.current_app.extensions["let_phones_in"]()
        return go("phone.code")
    held.renew()
    if flask.request.form.get("do") == "end":
        held.end()
    return go("phone.code")


@door.get("/in")
def ask_code() -> flask.Response:
    """Where the code is typed; scanned, it stands there already."""
    return page("in.html", given=flask.request.args.get("code", "")[:8])


@door.post("/in")
def enter() -> flask.Response:
    """Take the code and begin a session."""
    held = the_door()
    if held is None:
        flask.abort(404)
    name = held.let_in("".join(flask.request.form.get("code", "").split()))
    flask.session.clear()
    flask.session["name"] = name
    return go("door.today")


@door.get("/today")
def today() -> flask.Response:
    """The day's calls, without whose they are."""
    listed = [call for call in calls(library().kept(CALLS)) if call["appliance_kind"]]
    asks = [asked_of({**call, "serial": ""}) for call in listed]
    dangers = library().dangers(asks)
    library().prepare(asks)
    shown = [{name: call[name] for name in SHOWN} for call in listed]
    return page("today.html", calls=shown, asks=asks, dangers=dangers)


@door.post("/out")
def leave() -> flask.Response:
    """End this session."""
    held = the_door()
    if held is not None:
        held.end(flask.session.get("name", ""))
    flask.session.clear()
    return go("door.ask_code")


def only_known() -> flask.Response | None:
    """Send whoever has no session to where the code is typed."""
    held = the_door()
    is_known = held is not None and held.knows(flask.session.get("name", ""))
    return None if is_known or flask.request.endpoint in OPEN_TO_ALL else go("door.ask_code")
