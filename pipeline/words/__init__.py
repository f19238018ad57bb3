"""Words of the trade: what kinds, complaints, findings, causes, parts and outcomes are called, and are misspelt."""

from __future__ import annotations

from pipeline.words.words import Words

__all__ = ["Words"]
