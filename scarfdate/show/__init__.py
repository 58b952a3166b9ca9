"""Turns numbers and words into something to look at; knows none of our objects."""
