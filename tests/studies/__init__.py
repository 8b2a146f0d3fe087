"""Long studies on simulated days, as commands: `python -m tests.studies coverage --help`."""
