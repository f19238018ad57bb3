"""Answers and figures beside what is known to be true."""
