"""A season in one zip: day folders, tables and all that was kept of them; and back into an empty archive."""
