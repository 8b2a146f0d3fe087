"""Runs: is a recording good, and a person's word on its passes."""
