"""The logbook: writing entries into the grower's own files, one row at a time, fast and whole."""
