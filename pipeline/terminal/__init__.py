"""How answers and endings look in a terminal."""
