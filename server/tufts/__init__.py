"""Photos of tufts: kept, marked, held against the predicted surface flow."""
