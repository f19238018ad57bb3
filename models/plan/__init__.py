"""What to do next at a visit, and what to load for a round."""
