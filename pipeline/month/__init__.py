"""A period becomes its figures and its page."""
