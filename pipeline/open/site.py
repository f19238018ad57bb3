"""The pages as one application: security before each, and one message for whatever goes wrong."""

from __future__ import annotations

import hashlib
from pathlib import Path

import flask
from werkzeug.exceptions import HTTPException

from pipeline.errors import DatabaseBusy, PriorjobsError
from pipeline.load.privacy import load_key
from pipeline.open import ask
from pipeline.open.app import page
from pipeline.open.guard import Guard, sealed
from pipeline.open.library import Library
from pipeline.terminal.ending import as_told
from pipeline.workshop import Workshop


def make_app(db: Path, guard: Guard) -> flask.Flask:
    """Make the application.

    Parameters
    ----------
    db
        The workshop's database; created where there is none.
    guard
        Who may ask for what.
    """
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
