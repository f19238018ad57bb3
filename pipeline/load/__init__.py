"""Numbered lines become visits in the warehouse; what cannot be taken is kept with its reason."""
