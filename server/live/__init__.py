"""What keeps several tablets together: entries that come in late, and the feed of what changed."""
