"""Times and memory beside a bare baseline."""
