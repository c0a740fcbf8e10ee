"""The words: contracts of every table, findings about them, and the check of a frame against a contract."""
