"""Pure estimators: arrays and numbers in, results out. No SQL, no sentences, no files."""
