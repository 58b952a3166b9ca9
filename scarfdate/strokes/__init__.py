"""Strokes in millimetres of the thing that they show: the drawings themselves, one file a kind of clue."""
