"""The sections of the report: one file each, with its sentence, notes, charts and tables. The page has their order."""
