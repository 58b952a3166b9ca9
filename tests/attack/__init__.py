"""Input as attack: hostile text in every view and file, bombs in every reader; ``python -m tests.attack`` prints a table."""
