"""The audit: an engine that is not ours holds the loaded ledger against its contracts, whole tables against bands."""
