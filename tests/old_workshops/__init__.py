"""Small old workshops, as earlier programs kept them."""
