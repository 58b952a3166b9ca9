"""*What is it worth?* Condition, the book of bought and sold pieces, prices, what to pay, the listing."""
