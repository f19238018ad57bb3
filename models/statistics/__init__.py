"""Intervals, survival and fair comparison: what figures of a workshop can bear."""
