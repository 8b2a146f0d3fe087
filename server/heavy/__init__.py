"""Heavy work: many pieces that need nothing of each other, done here or by other computers, with the same numbers."""
