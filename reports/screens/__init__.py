"""The pages that the local server shows: like the report, from result tables, findings and settings alone."""
