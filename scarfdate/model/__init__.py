"""The model: priors made ready, and the exact sum over market, grade and year."""
