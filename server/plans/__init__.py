"""Plans of test days: what is wanted of a day, how many passes that takes, and the sheet to run it by."""
