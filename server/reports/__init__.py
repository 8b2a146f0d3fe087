"""Reports that are taken home: the same content as one HTML file and as PDF, made without a browser."""
