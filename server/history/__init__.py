"""Who did what when, and whether all that was kept is as it was."""
