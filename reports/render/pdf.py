"""A page printed to PDF by a browser of this machine, without a network."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge", "microsoft-edge")
SECONDS = 120
_QUIET = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--no-pdf-header-footer",
    "--virtual-time-budget=30000",
)


def find_browser() -> str | None:
    """Find a browser that can print; None when this machine has none."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def print_page(browser: str, page: Path, pdf: Path) -> Path:
    """Print a page as it is on paper.

    Parameters
    ----------
    browser
        Path of the browser.
    page, pdf
        The page, and the file to write.

    Raises
    ------
    RuntimeError
        The browser ended without a PDF, or did not end.
    """
    with tempfile.TemporaryDirectory(prefix="priorjobs-print-", ignore_cleanup_errors=True) as profile:
        try:
            ended = subprocess.run(  # noqa: S603 - a browser found on the path, given our own page
                [
                    browser,
                    *_QUIET,
                    *_without_sandbox(),
                    f"--user-data-dir={profile}",
                    f"--print-to-pdf={pdf.resolve()}",
                    page.resolve().as_uri(),
                ],
                capture_output=True,
                timeout=SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired as late:
            raise RuntimeError(f"{Path(browser).name} did not end within {SECONDS} s") from late
    if ended.returncode != 0 or not pdf.exists():
        raise RuntimeError(f"{Path(browser).name} ended with {ended.returncode} and made no PDF")
    return pdf


def _without_sandbox() -> list[str]:
    """Browsers refuse to start for the superuser with their sandbox on; for anybody else it stays on."""
    return ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
