"""Logger files: one file per format, each giving a RawLog and findings about the data."""
