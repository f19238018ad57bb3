"""What every page shares: its library, one way to show it, one way to go on, and addresses that cannot be changed."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import flask
from itsdangerous import BadData, URLSafeSerializer

from pipeline.browser.guard import csrf
from pipeline.browser.library import Library, Work
from pipeline.browser.worker import apart
from pipeline.errors import UsageError
from pipeline.load.column_evidence import ALL_FIELDS
from pipeline.store.cache import while_unchanged

if TYPE_CHECKING:
    from pipeline.workshop import Workshop
    from reports.render.wording import Wording

PAGES = {
    "records": "records.files", "ask": "ask.question", "tomorrow": "tomorrow.day", "month": "month.period",
    "learned": "learned.models", "phone": "phone.code", "door": "door.today",
}  # fmt: skip
"""Name of each part of the pages and where it begins, as the top of every page lists them."""


_POLICY = re.compile('http-equiv="Content-Security-Policy" content="([^"]*)"')


def library() -> Library:
    """The library that this request is about."""
    kept: Library = flask.current_app.extensions["library"]
    return kept


def kinds_of(workshop: Workshop) -> list[str]:
    """Kinds of appliance that a call can be about."""
    return [str(kind) for kind in workshop.words.kinds()["kind"]]


def page(template: str, *, status: int = 200, again: int = 0, **ready: Any) -> flask.Response:
    """Show one page.

    Parameters
    ----------
    template
        Name of a file in ``reports/templates/browser``.
    status
        HTTP status.
    again
        Seconds after which the browser asks anew; 0 = never.
    **ready
        Ready values; text among them is escaped, whoever wrote it.
    """
    from reports.render.page import environment
    from reports.render.wording import in_language

    settings = library().settings
    wording = in_language(settings.locale, settings.currency)
    part = (flask.request.endpoint or "").partition(".")[0]
    served = flask.current_app.view_functions
    shown = {name: flask.url_for(place) for name, place in PAGES.items() if place in served}
    shared = {
        "wording": wording,
        "say": wording.say,
        "tell": wording.told,
        "when": lambda at: _when(at, wording),
        "field": lambda name: wording.say(f"open.field_{name}") if name in ALL_FIELDS else name,
        "csrf": csrf,
        "url_for": flask.url_for,
        "again": again,
    }
    made = environment()
    shared |= vars(made.get_template("browser/parts.html").make_module(shared))
    text = made.get_template("browser/frame.html").render(
        shared | ready, template=f"browser/{template}", pages=shown, part=part
    )
    return flask.Response(text, status)


def go(endpoint: str, **values: Any) -> flask.Response:
    """Send the browser on to the page that shows what was done, so that reloading does nothing twice."""
    return flask.Response(status=303, headers={"Location": flask.url_for(endpoint, **values)})


def work(what: str, then: str, do: Work | None = None, *given: str) -> flask.Response:
    """Begin long work, see `Library.start`, and send the browser to where its progress stands."""
    library().start(what, then, do, *given)
    return go("working")


def made_apart(what: str, *given: str) -> Any:
    """What one of `apart.WORKS` makes, kept while nothing it is made of changes; other pages answer meanwhile."""
    kept = library()
    with kept.opened() as workshop:
        later = while_unchanged(workshop.database, (what, *given, *kept.made_of(workshop)), Later)
    return later.made(lambda: apart(what, kept.db, lambda _: None, *given))


class Later:
    """Something slow to make that the first who asks for it makes, while the others wait."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._made: list[Any] = []

    def made(self, make: Callable[[], Any]) -> Any:
        """Make it, or give what was made."""
        with self._turn:
            if not self._made:
                self._made.append(make())
        return self._made[0]


def own_page(html: str) -> flask.Response:
    """Serve a page that stands for itself, such as a report: it may do what its own policy allows, and no more."""
    made = flask.Response(html)
    policy = _POLICY.search(html)
    if policy is not None:
        made.headers["Content-Security-Policy"] = f"{policy[1]}; frame-ancestors 'none'"
    return made


def _when(at: dt.date | str | None, wording: Wording) -> str:
    """A day, with the time of it where there is one, as people of the workshop's language write it."""
    if not at:
        return "–"
    at = dt.datetime.fromisoformat(at) if isinstance(at, str) else at
    day = wording.date(at.date() if isinstance(at, dt.datetime) else at)
    return f"{day} {at:%H:%M}" if isinstance(at, dt.datetime) and (at.hour or at.minute) else day


def number(text: str | None) -> int | None:
    """A whole number that a form holds; None = it holds none, or none that anything here is counted by."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else None


def signed(value: Any, salt: str) -> str:
    """Write a value so that it can stand in an address and come back unchanged."""
    return _serializer(salt).dumps(value)


def unsigned(text: str, salt: str) -> Any:
    """Read what `signed` wrote.

    Raises
    ------
    UsageError
        It was changed on the way, or is another workshop's.
    """
    try:
        return _serializer(salt).loads(text)
    except BadData as fault:
        raise UsageError("This address is not one of this workshop's pages.", "Start again from Ask.") from fault


def _serializer(salt: str) -> URLSafeSerializer:
    return URLSafeSerializer(
        str(flask.current_app.secret_key), salt=salt, signer_kwargs={"digest_method": hashlib.sha256}
    )
