"""A call as it is told → a question in the terms of the trade, with every word accounted for."""
