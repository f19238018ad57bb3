"""Kills and hostile input, counted."""
