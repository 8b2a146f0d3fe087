"""Files that come in piece by piece, by the open tus protocol."""
