"""Why the answer is what it is, what does not fit, and what to look at next."""
