"""The measures: one SQL file per table, run over the ledger as of a date."""
