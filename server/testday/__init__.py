"""What a test day is, as plain values; read from and written to a folder."""
