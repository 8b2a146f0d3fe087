"""Finding things again: everything that the archive holds, by words."""
