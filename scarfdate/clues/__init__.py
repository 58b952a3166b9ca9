"""Families of clues: what was seen becomes a likelihood over market, grade and year."""
