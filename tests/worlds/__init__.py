"""Made workshops whose truth is known, and hostile files."""
