"""Keeping the books true: words reviewed, customers forgotten, state told."""
