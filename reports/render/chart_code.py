"""The code that draws charts in a page: put together once a process, beside other work where it is begun in time."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
from functools import cache
from subprocess import DEVNULL, PIPE

_BUNDLE = "vl_convert.javascript_bundle(snippet='window.vegaEmbed = vegaEmbed;')"
_PROGRAM = f"import sys, vl_convert\nsys.stdout.buffer.write({_BUNDLE}.encode())"
_begun: list[subprocess.Popen[bytes]] = []


def begin_chart_code() -> None:
    """Have it put together in a process of its own, which takes seconds, while the figures are counted."""
    if not sys.executable or _begun or chart_code.cache_info().currsize:
        return
    words = [sys.executable, "-I", "-c", _PROGRAM]
    with contextlib.suppress(OSError):  # then it is put together here
        _begun.append(subprocess.Popen(words, stdin=DEVNULL, stdout=PIPE, stderr=DEVNULL))  # noqa: S603 - our own words


@cache
def chart_code() -> str:
    """Give the code that draws charts (Vega, Vega-Lite, Vega-Embed and its interpreter), for one inline script.

    Returns
    -------
    str
        Wrapped so that none of its names reach the page but ``vegaEmbed``.
    """
    code = (_of_process() or _made_here()).replace("\r", "")
    return "(function(){" + re.sub(r"</(?=script)", r"<\\/", code, flags=re.IGNORECASE) + "\n})();"


def _of_process() -> str:
    """What the process begun earlier made; empty where there was none, or it failed."""
    if not _begun:
        return ""
    process = _begun.pop()
    made, _ = process.communicate()
    return made.decode("utf-8") if process.returncode == 0 else ""


def _made_here() -> str:
    import vl_convert

    return str(vl_convert.javascript_bundle(snippet="window.vegaEmbed = vegaEmbed;"))
