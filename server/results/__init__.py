"""Results: a day fitted, kept whole, and shown."""
