"""The ledger: the stage of all rows, what was decided about them, and what makes a refresh safe."""
