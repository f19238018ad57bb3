"""Listen on this machine, and for phones in the workshop's network where that is asked for, until stopped."""

from __future__ import annotations

import socket
import sys
import threading
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.browser.guard import LARGEST, LARGEST_UPLOAD, Guard, Start
from pipeline.browser.phone import Door
from pipeline.browser.site import make_app, make_phone_app
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from flask import Flask

THREADS = 12
LOOPBACK = ("127.0.0.1", "localhost")


def serve(db: Path, port: int, *, browser: bool = True, lan: bool = False) -> None:
    """Serve the pages of one library; returns when stopped from the keyboard.

    Raises
    ------
    UsageError
        A port is taken, or with ``lan`` there is no network.
    PriorjobsError
        See `Workshop.open`.
    """
    start = Start()
    app = make_app(db, Guard(frozenset(f"{name}:{port}".removesuffix(":80") for name in LOOPBACK), start=start))
    app.extensions["let_phones_in"] = lambda: _let_phones_in(app, port + 1)
    server = _listening(app, f"127.0.0.1:{port}", LARGEST_UPLOAD)
    if lan:
        _let_phones_in(app, port + 1)
        sys.stdout.write(f"Phones in this network: {app.extensions['door'].address} with the code shown under Phone.\n")
    address = f"http://127.0.0.1:{port}/?start="
    sys.stdout.write(f"The workshop is open at {address}{start.typed} until you press Ctrl+C here.\n")
    sys.stdout.flush()
    app.extensions["library"].make_ready()
    if browser:
        threading.Timer(0.5, webbrowser.open, [address + start.opened]).start()
    try:
        server.run()
    finally:
        server.close()


def _let_phones_in(app: Flask, port: int) -> None:
    """Listen for phones too, beside the pages, until both are stopped."""
    near = f"{own_address()}:{port}"
    door = Door(f"http://{near}/")
    phones = _listening(make_phone_app(app, Guard(frozenset({near}), is_lan=True), door), near, LARGEST)
    threading.Thread(target=phones.run, name="phones", daemon=True).start()
    app.extensions["door"] = door


def own_address() -> str:
    """Address of this machine in its network; nothing is sent to find it.

    Raises
    ------
    UsageError
        It has none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept for documentation (RFC 5737)
        except OSError as fault:
            raise UsageError(
                "This machine is not on a network.", "Join the workshop's network, or leave out --lan."
            ) from fault
        return str(probe.getsockname()[0])


def _listening(app: Flask, at: str, largest: int) -> Any:
    """Listen for requests of at most ``largest`` bytes; more is turned away while it comes in."""
    from waitress.server import create_server

    try:
        return create_server(app, listen=at, threads=THREADS, max_request_body_size=largest, ident="", map={})
    except OSError as fault:
        raise UsageError(
            f"Port {at.rpartition(':')[2]} cannot be used: {fault.strerror}.",
            "Another priorjobs open may be running; stop it, or choose another --port.",
        ) from fault
