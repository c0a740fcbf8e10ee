"""The work: from files to checked rows, ledger and measures. One verb or noun per module."""
