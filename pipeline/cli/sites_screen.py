"""How a comparison over several sites is shown, below those of each site: one table, and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer

from pipeline.cli.compare_screen import MOST_PAIRS, MOST_REFUSED, SHORT, shown_p
from pipeline.cli.show import Column, notify, print_sentences, print_table
from pipeline.compare.site_cells import SiteCells
from pipeline.compare.sites import SitesComparison, not_alike, over_sites
from pipeline.compare.sites_text import near_text, sites_heading, sites_note, sites_rows
from schemas.answers import answered
from schemas.confidence import LEVEL, percent
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.models.view import Rows


@dataclass(frozen=True)
class OverSites:
    """The answer over all sites as it is shown. rows: with the columns of `compared_sites`; refused: why there is no
    such answer.
    """

    found: SitesComparison | None
    rows: Rows
    refused: str | None = None

    @classmethod
    def of(cls, cells: Mapping[str, SiteCells]) -> OverSites:
        """Return the answer that these sites' cells give together."""
        if refused := not_alike(cells):
            return cls(None, [], refused)
        found = over_sites(cells)
        return cls(found, sites_rows(found))

    def show(self) -> None:
        """Print it, below the answers of each site."""
        if self.found is None or not self.rows:
            return
        typer.echo("")
        print_sentences(sites_heading(self.found))
        typer.echo("")
        if any(row["sites"] > 1 for row in self.rows):
            _show_pairs([row for row in self.rows if row["sites"] > 1], self.found.query.measure.decimals)
            typer.echo("")
        _print_sentences(self.rows)

    def show_notes(self) -> None:
        """Say what it rests on, beside the notes of the sites."""
        if self.found is None:
            notify(self.refused or "")
            return
        if any(row["sites"] > 1 for row in self.rows):
            notify(sites_note(self.found))
        if near := near_text(self.found):
            notify(near)


def _show_pairs(rows: Rows, decimals: int) -> None:
    unit = rows[0]["unit"]
    print_table(
        [
            {
                **row,
                "shown_p": shown_p(row["p"]),
                "sites_shown_p": shown_p(row["sites_p"]),
                "shown": SHORT.get(row["verdict"], row["verdict"]),
            }
            for row in rows[:MOST_PAIRS]
        ],
        [
            Column("level", "level"),
            Column("against", "against"),
            Column("sites", "sites", 0),
            Column("difference", f"more by\n{unit}", decimals),
            Column("low", f"{percent(LEVEL)}\nfrom", decimals),
            Column("high", f"{percent(LEVEL)}\nto", decimals),
            Column("shown_p", "p", whole=True),
            Column("sites_shown_p", "sites\nalike p", whole=True),
            Column("shown", "verdict", whole=True),
        ],
    )


def _print_sentences(rows: Rows) -> None:
    """Print what holds first; of the rest those that most sites tell of."""
    settled = [row for row in rows if answered(row["direction"], row["worth"])]
    open_ = [row for row in rows if not answered(row["direction"], row["worth"])]
    open_.sort(key=lambda row: -row["sites"])
    for row in [*settled, *open_[:MOST_REFUSED]]:
        print_sentences(row["sentence"])
    more = len(open_) - MOST_REFUSED
    if more > 0:
        print_sentences(f"{counted(more, 'more pair')} without an answer over all sites: --json has them.")
