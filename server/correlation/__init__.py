"""Measured beside predicted: which days and which sets of predictions, what people decided, its pages."""
