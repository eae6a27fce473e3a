"""What a day uses of each store, and what the levels become."""
