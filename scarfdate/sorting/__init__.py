"""At a table with a pile: what was seen goes in by keys, the years move with it, a row goes onto the stock sheet."""
