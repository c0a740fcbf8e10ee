"""All SQL, one file a table, and the loaders: a view of the ledger in, typed results out."""
