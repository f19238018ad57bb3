"""What it probably is, what to do next, and what the figures mean: frames in, frames and probabilities out.

The two estimators are imported only when asked for, so that answering from a stored model never loads scikit-learn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from models.causes.classifier import CauseClassifier
    from models.text_coder import TextCoder

__all__ = ["CauseClassifier", "TextCoder"]


def __getattr__(name: str) -> Any:
    """Import an estimator at first use."""
    if name == "CauseClassifier":
        from models.causes.classifier import CauseClassifier

        return CauseClassifier
    if name == "TextCoder":
        from models.text_coder import TextCoder

        return TextCoder
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
