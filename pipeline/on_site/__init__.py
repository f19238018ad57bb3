"""A visit as it goes: step by step, on sheets that can be tapped, recorded; and a day of visits."""
