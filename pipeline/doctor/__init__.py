"""The farm's state in ten lines: from the folder, the manifest and the journal, without the ledger."""
