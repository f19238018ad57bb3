"""What is refused before any page is made: other machines, other names, forms that are not ours, and too much."""

from __future__ import annotations

import hmac
import ipaddress
import secrets
from dataclasses import dataclass

from flask import Response, abort, request, session

from pipeline.errors import UsageError

LARGEST = 256 * 1024  # bytes of a form
LARGEST_UPLOAD = 200 * 1024 * 1024  # bytes of all files sent at once
UPLOADS = ("records.upload", "tomorrow.add")
POLICY = (
    "default-src 'none'; style-src 'self'; img-src data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


class Start:
    """Lets the owner's browser in: other users of the same machine reach the port too.

    Attributes
    ----------
    typed
        What stands in the address that the terminal shows; it holds until the server stops.
    opened
        What stands in the address that a browser is started with, where other users may see it: it holds once.
    """

    def __init__(self) -> None:
        self.typed, self.opened = secrets.token_urlsafe(18), secrets.token_urlsafe(18)

    def lets_in(self, given: str) -> bool:
        """Whether an address may begin a session."""
        is_opened = hmac.compare_digest(given.encode(), self.opened.encode())
        if is_opened:
            self.opened = secrets.token_urlsafe(18)
        return is_opened or hmac.compare_digest(given.encode(), self.typed.encode())


@dataclass(frozen=True)
class Guard:
    """What is checked before any page is made.

    Attributes
    ----------
    hosts
        Names and ports by which the pages may be asked for.
    is_lan
        Whether other machines of the same private network may ask.
    start
        What lets a browser in; None = something else sees to that.
    """

    hosts: frozenset[str]
    is_lan: bool = False
    start: Start | None = None

    def check(self) -> Response | None:
        """Refuse what may not be, and let the owner's browser in."""
        if request.host not in self.hosts:
            abort(421)
        if not (is_near if self.is_lan else is_this_machine)(request.remote_addr):
            abort(403)
        if request.endpoint is None:
            abort(404)
        request.max_content_length = LARGEST_UPLOAD if request.endpoint in UPLOADS else LARGEST
        if request.method == "POST":
            if request.headers.get("Origin") != f"http://{request.host}":
                abort(403)
            if not hmac.compare_digest(request.form.get("csrf", "").encode(), csrf().encode()):
                raise UsageError("This form was opened in an earlier session.", "Go back, reload, press again.")
        elif request.method not in ("GET", "HEAD"):
            abort(405)
        if self.start is None or session.get("is_owner") or request.endpoint == "style":
            return None
        if not self.start.lets_in(request.args.get("start", "")):
            raise UsageError(
                "This browser has not been let in.", "Open the address that priorjobs open shows in its terminal."
            )
        session["is_owner"] = True
        return Response(status=303, headers={"Location": request.path})


def is_this_machine(address: str | None) -> bool:
    """Whether an address is a loopback one."""
    try:
        return ipaddress.ip_address(address or "").is_loopback
    except ValueError:
        return False


def is_near(address: str | None) -> bool:
    """Whether an address is this machine's or one of a private network."""
    try:
        return ipaddress.ip_address(address or "").is_private
    except ValueError:
        return False


def csrf() -> str:
    """The session's own proof that a form is ours; made when first asked for."""
    if "csrf" not in session:
        session["csrf"] = secrets.token_urlsafe(24)
    return str(session["csrf"])


def sealed(response: Response) -> Response:
    """Add to every answer what a browser must refuse."""
    response.headers.setdefault("Content-Security-Policy", POLICY)
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers["X-Frame-Options"] = "DENY"
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    response.headers["Cache-Control"] = "no-store"
    return response
