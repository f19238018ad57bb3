"""Figures beside a bare baseline or a known limit; nothing here asserts a time."""
