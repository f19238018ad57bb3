"""Cured jobs become a model: fitted, scored, kept in versions."""
