"""*What does it look like?* Clues and pieces as a few strokes at a stated scale."""
