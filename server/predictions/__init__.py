"""Predictions by CFD: sets of cases per car, how each number was given and what it became."""
