"""How a command ends for its user: in one message, with a remedy, and the right exit status; never in a traceback."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typer

from pipeline.errors import PriorjobsError, UsageError, file_fault, shown, system_fault
from pipeline.terminal.text import json_line, safe

STOPPED = 130  # the shell's status of a command that Ctrl-C ended


def ended(command: Callable[[], Any]) -> int:
    """Run a command and return its exit status; a fault that a user can fix is told."""
    if not os.environ.get("PRIORJOBS_TRACE"):
        warnings.simplefilter("ignore")  # what libraries have to say is for us, not for a technician
        sys.unraisablehook = lambda _: None
    _open_streams()
    try:
        status = command()
        sys.stdout.flush()
    except PriorjobsError as fault:
        status = _told(fault)
    except typer.Exit as stop:
        status = stop.exit_code
    except (KeyboardInterrupt, typer.Abort):
        status = STOPPED
    except BrokenPipeError:
        status = 0
    except Exception as fault:  # the last door: a bug of ours must not throw a traceback at a technician
        status = _told(_usage_of_typer(fault) or as_told(fault))
    if status == STOPPED:  # typer too makes it of an interrupt, and says nothing
        sys.stderr.write("Stopped before the end. Nothing is left half written; run it again to finish.\n")
    try:
        sys.stdout.flush()
    except OSError:
        _give_up_output()
    return int(status or 0)


def as_told(fault: Exception) -> PriorjobsError:
    """Any other fault as one that can be told: the system's, that of a text in another encoding, or a bug of ours."""
    return _of_the_system(fault) or _no_text(fault) or _our_bug(fault)


def _open_streams() -> None:
    """Point closed streams at nothing; what a terminal's encoding lacks is replaced by a question mark."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            opened = os.open(os.devnull, os.O_RDWR)
            if opened != number:
                os.dup2(opened, number)
                os.close(opened)
            setattr(sys, name, os.fdopen(number, "w" if number else "r"))
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _told(fault: PriorjobsError) -> int:
    if "--json" in sys.argv:
        error = {"code": fault.code, "what": fault.what, "remedy": fault.remedy}
        try:
            sys.stdout.write(json_line({"error": error}))
            sys.stdout.flush()
        except OSError:
            _give_up_output()
        else:
            return fault.exit_status
    with contextlib.suppress(OSError):
        sys.stderr.write(safe(fault.what) + "\n" + safe(fault.remedy) + "\n")
    return fault.exit_status


def _give_up_output() -> None:
    """Point standard output at nothing, so that what is left of it fails no second time."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _usage_of_typer(fault: Exception) -> PriorjobsError | None:
    format_message = getattr(fault, "format_message", None)
    return UsageError(format_message(), "See: priorjobs --help") if callable(format_message) else None


def _of_the_system(fault: Exception) -> PriorjobsError | None:
    """A full disk, a folder that may not be written: nothing of ours, whatever command met it."""
    if isinstance(fault, MemoryError):
        return UsageError("This needs more memory than is free.", "Close other programs, then run this again.")
    found = system_fault(fault)
    return None if found is None else file_fault(found)


def _no_text(fault: Exception) -> PriorjobsError | None:
    """Bytes that are no UTF-8 were given, as a terminal set to another encoding gives them: Python keeps each apart."""
    if not isinstance(fault, UnicodeEncodeError) or not any("\udc80" <= sign <= "\udcff" for sign in fault.object):
        return None
    return UsageError(f"{shown(fault.object)} is not text in UTF-8.", "Set the terminal to UTF-8, then type it again.")


def _our_bug(fault: Exception) -> PriorjobsError:
    if os.environ.get("PRIORJOBS_TRACE"):
        traceback.print_exc()
    place = traceback.extract_tb(fault.__traceback__)[-1]
    bug = PriorjobsError(
        f"This is a bug in priorjobs, not a fault in your data: {type(fault).__name__} "
        f"in {Path(place.filename).name}, line {place.lineno}.",
        "No partial changes were saved. Set PRIORJOBS_TRACE=1 and run it again to see the traceback for a bug report.",
    )
    bug.code, bug.exit_status = "internal", 2
    return bug
