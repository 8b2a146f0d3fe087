"""Cars and setups on screen: what exactly was run, and the forms that correct it."""
