"""One file or sheet <-> typed rows: reading, validating, and writing CSV files of our own."""
