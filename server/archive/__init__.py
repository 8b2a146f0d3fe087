"""What every domain stands on: the database, the raw files kept byte for byte, the jobs."""
