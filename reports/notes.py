"""The notes of each block: what a careful reader must know beside its sentence, above all how little it rests on."""

from __future__ import annotations

from reports.figures import Figure, Part, Sentence, cell, count, measured, named, positive, several
from reports.month import Month
from reports.words import spoken

STRAINS_NAMED = 4
CAUSES_NAMED = 4
UNSURE_NAMED = 3


def picked(month: Month) -> list[Sentence]:
    """Which strains gave it, and what is not in the figures?"""
    notes: list[Sentence] = []
    rows = month.rows("strains")
    if rows:
        parts: list[Part] = ["By strain: " if len(rows) <= STRAINS_NAMED else "Most of it, by strain: "]
        for at in range(min(len(rows), STRAINS_NAMED)):
            share = measured(month, "strains", at, "share_pct")
            kilograms = measured(month, "strains", at, "fresh_g")
            parts += [", " if at else "", named(spoken("strain", rows[at]["strain"])), " ", kilograms, " (", share, ")"]
        notes.append((*parts, "."))
    aside = count(month, "pickings_set_aside")
    if aside.value:
        is_are = " of the farm is" if aside.value == 1 else " of the farm are"
        notes.append((*several(aside, "picking"), is_are, " set aside and in no figure; see Rows set aside."))
    return notes


def finished(month: Month) -> list[Sentence]:
    """How much can be said from so few?"""
    rows = month.rows("finished_units")
    notes: list[Sentence] = []
    if not rows:
        return notes
    if len(month.rows("finished_batches")) == 1:
        notes.append(("One batch is one mix on one day: it cannot tell recipes apart.",))
    thrown = positive(month, "finished_units", "contaminated_before_pick")
    if thrown.value:
        was = " was" if thrown.value == 1 else " were"
        notes.append(
            (thrown, was, " thrown out for contamination before a first picking, and counts with nothing given.")
        )
    notes.append(
        ("What finished in a month was inoculated months before: it is not the yield of this month's picking.",)
    )
    return notes


def recipes(month: Month) -> list[Sentence]:
    """Which recipes rest on a single batch?"""
    rows = month.rows("finished_recipes")
    if not rows:
        return []
    if all(row["batches"] < 2 for row in rows):
        return [("Each recipe rests on one batch, and one batch cannot tell recipes apart.",)]
    alone: list[Sentence] = []
    if any(row["batches"] < 2 for row in rows):
        alone = [("Where a recipe rests on 1 batch, it cannot be told from others: batches of one recipe differ too.",)]
    return [*alone, ("Sums over what finished this month, not a test of a difference.",)]


def losses(month: Month) -> list[Sentence]:
    """Of which causes, and how sure is it?"""
    if not month.rows("losses"):
        return []
    notes: list[Sentence] = []
    rows = month.rows("causes")
    if rows:
        parts: list[Part] = ["By cause: "]
        for at in range(min(len(rows), CAUSES_NAMED)):
            parts += [
                ", " if at else "",
                named(spoken("cause", rows[at]["cause"])),
                " ",
                cell(month, "causes", at, "lost"),
            ]
        notes.append((*parts, "; fewer for others." if len(rows) > CAUSES_NAMED else "."))
    without = [row for row in month.rows("losses") if row["low_pct"] is None and row["why_no_interval"]]
    for row in without[:UNSURE_NAMED]:
        kind = named(", ".join(spoken(column, row[column]) for column in ("substrate", "treatment")))
        notes.append(("No interval for ", kind, f": {row['why_no_interval']}."))
    notes.append(
        (
            "All units of the record so far. Containers of one soak share its fate, so an interval comes from the "
            "shares of soaks, from three soaks on.",
        )
    )
    if any(row["lost"] for row in month.rows("soaks")):
        notes.append(("gillbook trace --soak NAME tells what went into a soak, and all that came from it.",))
    return notes


def stages(month: Month) -> list[Sentence]:
    """How much has no stage?"""
    blank = [at for at, row in enumerate(month.rows("stages")) if not row["cap_stage"] and row["share_pct"]]
    return [(measured(month, "stages", at, "share_pct"), " of the fresh mass has no cap stage noted.") for at in blank]


def aside(month: Month) -> list[Sentence]:
    """What else was found in the rows?"""
    told: list[tuple[Figure, str]] = [
        (count(month, "rows_dropped"), "with a cell that could not be used"),
        (count(month, "rows_warning"), "with a warning"),
    ]
    return [(*several(figure, "row"), f" {words}: counted all the same.") for figure, words in told if figure.value]
