"""*What is it worth?* Condition, prices learned from one's own book, the decision, what sells, the listing."""
