"""A call becomes what to do: likely causes, the next step, what to carry."""
