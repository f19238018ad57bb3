"""Written values made into dates, years, minutes, money and part lines; each distinct value is read once."""
