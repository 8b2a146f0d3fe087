"""Measurement statistics: the state-space filter, Gaussian conditioning, sampling and budgets."""
