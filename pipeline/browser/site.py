"""The pages as one application: security before each, and one message for whatever goes wrong."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import flask
from werkzeug.exceptions import HTTPException

from pipeline.browser import ask, month, phone, quality, records, tomorrow
from pipeline.browser.app import go, library, page
from pipeline.browser.guard import Guard, sealed
from pipeline.browser.library import Library
from pipeline.errors import DatabaseBusy, PriorjobsError
from pipeline.load.hashes import load_key
from pipeline.terminal.exit_message import as_told
from pipeline.terminal.progress import DONE, TO_DO
from pipeline.workshop import Workshop

_BAR = re.compile(r"([\d,]+) of ([\d,]+) ")


def make_app(db: Path, guard: Guard, door: phone.Door | None = None) -> flask.Flask:
    """Make the owner's application.

    Parameters
    ----------
    db
        The workshop's database; created where there is none.
    guard
        Who may ask for what.
    door
        What lets phones in; None = nothing does.
    """
    with Workshop.open(db) as workshop:
        key = load_key(workshop.database.key_file)
    app = _made(Library(db), guard, key, "priorjobs")
    app.extensions["door"] = door
    app.add_url_rule("/", "front", lambda: flask.redirect(flask.url_for("ask.question"), 303))
    app.add_url_rule("/working", "working", _working)
    for part in (records, ask, tomorrow, month, quality):
        app.register_blueprint(part.pages)
    app.register_blueprint(phone.owner)
    return app


def make_phone_app(owner: flask.Flask, guard: Guard, door: phone.Door) -> flask.Flask:
    """Make the application for phones: its own cookie, its own key, and no route of the owner's."""
    key = hashlib.blake2b(str(owner.secret_key).encode()).digest()
    app = _made(owner.extensions["library"], guard, key, "priorjobs-phone")
    app.extensions["door"] = door
    app.before_request(phone.only_known)
    app.add_url_rule("/", "front", lambda: flask.redirect(flask.url_for("door.today"), 303))
    app.register_blueprint(ask.pages)
    app.register_blueprint(phone.door)
    return app


def _made(kept: Library, guard: Guard, key: bytes, name: str) -> flask.Flask:
    app = flask.Flask("priorjobs", static_folder=None, template_folder=None)
    app.secret_key = hashlib.blake2b(name.encode(), key=key, digest_size=32).digest()
    own = hashlib.blake2b(b"cookie", key=key, digest_size=4).hexdigest()  # browsers send a cookie to every port
    app.config.update(
        SESSION_COOKIE_NAME=f"{name}-{own}", SESSION_COOKIE_SAMESITE="Strict", SESSION_COOKIE_HTTPONLY=True
    )
    app.extensions["library"] = kept
    app.before_request(guard.check)
    app.after_request(sealed)
    app.register_error_handler(Exception, _fault)
    app.add_url_rule("/style.css", "style", _style)
    return app


def _working() -> flask.Response:
    """How far long work is; when it is done, on to what came of it."""
    job = library().job
    if job is None:
        return go("front")
    if job.fault is not None:
        return page("fault.html", what=job.fault.what, remedy=job.fault.remedy, code=200, back=flask.url_for(job.then))
    if not job.is_running:
        return go(job.then)
    at = _BAR.search(job.said)
    done, of = (int(number.replace(",", "")) for number in at.groups()) if at else (0, 0)
    return page("working.html", again=1, job=job, said=job.said.lstrip(f"{DONE}{TO_DO} "), done=done, of=of)


def _style() -> flask.Response:
    from importlib.resources import files

    from reports.render.theme import style

    own = (files("reports") / "templates" / "browser" / "pages.css").read_text(encoding="utf-8")
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
