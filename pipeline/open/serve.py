"""Listen on this machine until stopped."""

from __future__ import annotations

import sys
import threading
import webbrowser
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.open.guard import LARGEST, Guard
from pipeline.open.site import make_app

THREADS = 8
LOOPBACK = ("127.0.0.1", "localhost")


def serve(db: Path, port: int, *, browser: bool = True) -> None:
    """Serve the pages of one library; returns when stopped from the keyboard.

    Raises
    ------
    UsageError
        The port is taken.
    PriorjobsError
        See `Workshop.open`.
    """
    from waitress.server import create_server

    app = make_app(db, Guard(frozenset(f"{name}:{port}" for name in LOOPBACK)))
    try:
        server = create_server(
            app, listen=f"127.0.0.1:{port}", threads=THREADS, max_request_body_size=LARGEST, ident=""
        )
    except OSError as fault:
        raise UsageError(
            f"Port {port} cannot be used: {fault.strerror}.", "Another priorjobs open may run; or name another --port."
        ) from fault
    address = f"http://127.0.0.1:{port}/"
    sys.stdout.write(f"The workshop is open at {address} until you press Ctrl+C here.\n")
    sys.stdout.flush()
    if browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    try:
        server.run()
    finally:
        server.close()
