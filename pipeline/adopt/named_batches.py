"""The table of batches where no file holds one: the batches that pickings and fillings name."""

from __future__ import annotations

from pipeline.adopt.proposal import Proposal
from pipeline.files.write_csv import csv_lines
from schemas.contract import BATCHES, GROWING, contract


def named_tables(proposal: Proposal) -> dict[str, str]:
    """Return the text of batches.csv, if no file holds batches but some name them: with the names alone, for the grower
    to fill in.
    """
    if BATCHES in proposal.tables:
        return {}
    batches = _names(proposal, "batch")
    return {BATCHES: _table(BATCHES, [{"batch": name} for name in batches])} if batches else {}


def _names(proposal: Proposal, column: str) -> list[str]:
    cells = (
        cell
        for match in proposal.matches
        for each in match.matched
        if each.column == column and each.table in GROWING
        for _, cell in match.sheet.column(each.at)
    )
    return list(dict.fromkeys(cells))


def _table(name: str, rows: list[dict[str, str]]) -> str:
    header = [each.name for each in contract(name).fields if each.starred]
    return "".join(csv_lines([dict.fromkeys(header, "") | row for row in rows], header))
