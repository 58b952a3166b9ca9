"""What is said of one scarf, or of a table of them: the years, in numbers and in a sentence."""
