"""Job records in, answers out: the Python face of priorjobs is `Workshop`."""

from __future__ import annotations

from pipeline.errors import PriorjobsError
from pipeline.settings import Settings
from pipeline.workshop import Workshop

__all__ = ["PriorjobsError", "Settings", "Workshop"]
