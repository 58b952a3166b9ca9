"""Pieces whose years are known: a dealer's sold book and a museum's export."""
