"""What every page shares: its library, one way to show it, one way to go on, and addresses that cannot be changed."""

from __future__ import annotations

import hashlib
from typing import Any

import flask
from itsdangerous import BadData, URLSafeSerializer

from pipeline.errors import UsageError
from pipeline.open.guard import csrf
from pipeline.open.library import Library

PAGES = {"ask": "ask.question"}
"""Name of each part of the pages and where it begins, as the top of every page lists them."""


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
    from reports.render.wording import in_language

    settings = library().settings
    wording = in_language(settings.locale, settings.currency)
    part = (flask.request.endpoint or "").partition(".")[0]
    shown = {name: flask.url_for(place) for name, place in PAGES.items()}
    text = (
        environment()
        .get_template(f"open/{template}")
        .render(
            wording=wording,
            say=wording.say,
            told=wording.told,
            each=lambda texts: [wording.told(text) for text in texts],
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
