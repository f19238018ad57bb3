"""The pages as one application: security before each, one way to show them, one way to say what went wrong."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import flask
from itsdangerous import BadData, URLSafeSerializer
from werkzeug.exceptions import HTTPException

from pipeline.errors import DatabaseBusy, PriorjobsError, UsageError
from pipeline.load.privacy import load_key
from pipeline.open.guard import Guard, csrf, sealed
from pipeline.open.library import Library
from pipeline.terminal.ending import as_told
from pipeline.workshop import Workshop

PAGES = {"ask": "ask.question"}
"""Name of each part of the pages and where it begins, as the top of every page lists them."""


def make_app(db: Path, guard: Guard) -> flask.Flask:
    """Make the application.

    Parameters
    ----------
    db
        The workshop's database; created where there is none.
    guard
        Who may ask for what.
    """
    from pipeline.open import ask

    app = flask.Flask("priorjobs", static_folder=None, template_folder=None)
    with Workshop.open(db) as workshop:
        key = load_key(workshop.database.key_file)
    app.secret_key = hashlib.blake2b(b"the pages' own", key=key, digest_size=32).digest()
    app.config.update(
        SESSION_COOKIE_NAME="priorjobs", SESSION_COOKIE_SAMESITE="Strict", SESSION_COOKIE_HTTPONLY=True, TESTING=False
    )
    app.extensions["library"] = Library(db)
    app.before_request(guard.check)
    app.after_request(sealed)
    app.register_error_handler(Exception, _fault)
    app.add_url_rule("/", "front", lambda: flask.redirect(flask.url_for("ask.question"), 303))
    app.add_url_rule("/style.css", "style", _style)
    app.register_blueprint(ask.pages)
    return app


def library() -> Library:
    """The library that this request is about."""
    kept: Library = flask.current_app.extensions["library"]
    return kept


def page(template: str, *, status: int = 200, again: int = 0, **ready: Any) -> flask.Response:
    """Show one page.

    Parameters
    ----------
    template
        Name of a file in ``reports/templates/open``.
    status
        HTTP status.
    again
        Seconds after which the browser asks anew; 0 = never.
    **ready
        Ready values; text among them is escaped, whoever wrote it.
    """
    from reports.render.page import environment
    from reports.render.wording import Wording, languages

    settings = library().settings
    wording = Wording(settings.locale if settings.locale in languages() else "en", settings.currency)
    part = (flask.request.endpoint or "").partition(".")[0]
    shown = {name: flask.url_for(place) for name, place in PAGES.items()}
    text = (
        environment()
        .get_template(f"open/{template}")
        .render(
            wording=wording,
            say=wording.say,
            term=wording.term,
            csrf=csrf,
            pages=shown,
            part=part,
            again=again,
            **ready,
        )
    )
    return flask.Response(text, status)


def go(endpoint: str, **values: Any) -> flask.Response:
    """Send the browser on to the page that shows what was done, so that reloading does nothing twice."""
    return flask.Response(status=303, headers={"Location": flask.url_for(endpoint, **values)})


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
        raise UsageError("This address is not one of this workshop's pages.", "Begin again from Ask.") from fault


def _serializer(salt: str) -> URLSafeSerializer:
    return URLSafeSerializer(
        str(flask.current_app.secret_key), salt=salt, signer_kwargs={"digest_method": hashlib.sha256}
    )


def _style() -> flask.Response:
    from importlib.resources import files

    from reports.render.theme import style

    own = (files("reports") / "templates" / "open" / "pages.css").read_text(encoding="utf-8")
    return flask.Response(style() + own, mimetype="text/css")


def _fault(fault: Exception) -> flask.Response:
    """One message and its remedy; never a traceback, and never more of a refused request than that it was refused."""
    if isinstance(fault, HTTPException):
        if flask.request.endpoint is None or fault.code in (421, 403) or fault.code is None:
            return flask.Response(f"{fault.code} {fault.name}\n", fault.code or 400, mimetype="text/plain")
        return page("fault.html", status=fault.code, what=fault.name, remedy=fault.description, code=fault.code)
    told = fault if isinstance(fault, PriorjobsError) else as_told(fault)
    is_busy = isinstance(told, DatabaseBusy)
    status = 503 if is_busy else 500 if told.code == "internal" else 400
    return page(
        "fault.html",
        status=status,
        again=5 if is_busy and flask.request.method == "GET" else 0,
        what=told.what,
        remedy=told.remedy,
        code=status,
    )
