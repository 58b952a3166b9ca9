"""What is it worth: its condition, its price, whether to buy it, and what to write of it."""
