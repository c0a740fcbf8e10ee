"""A year, or a span of months or days, on one page: its months side by side, its recipes, losses, best and worst."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from reports.colours import paint
from reports.columns import View
from reports.drawing import Chart, column_chart, over_grid
from reports.figures import (
    Day,
    Figure,
    Name,
    Sentence,
    brief,
    cell,
    count,
    measured,
    named,
    positive,
    rows_of,
    several,
    total,
    within,
)
from reports.front import Tile, brief_tile
from reports.month import Month
from reports.recipes_chart import RECIPE, best_first, recipes_chart
from reports.section import Section, made
from reports.sections.losses import CAUSES, causes_note
from reports.sections.picked import TWO_LINES, YEAR_WHERE
from reports.sections.recipes import RECIPES, rows_in_order
from reports.tables import PageTable, table, table_of
from reports.vega_lite import Layer, Point, channel, options
from reports.words import MONTH_NAMES, day_name, month_name, spoken
from schemas.result_rows import number_of, text_of, whole_of

MONTHS = View(
    "span_months",
    ("month", "days", "fresh_g", "pickings", "units_finished", "units_lost", "be_finished_pct"),
)
LOST = View("batch_courses", ("batch", "substrate", "soak", "inoculated_on", "units", "units_running", "units_lost"))
BATCHES = View("finished_batches", ("batch", "substrate", "units", "units_without_dry_mass", "fresh_g", "be_pct"))
# Batches in the lists of the best and of the worst, and months that a chart gives the width to. Our choice, no source.
BATCHES_SHOWN = 5
MONTHS_DRAWN = 24
# Of more months the chart names the kg of the most, the least and the last: a phone has no room for all. Our choice.
ALL_NAMED, WHOLE_FROM = 6, 10
# As the months of a month's report have their names, and a month in part says so. Fixed expressions over labels that we
# write ourselves.
IN_PART = "length(split(datum.label, ' ')) == 3 ? [substring(datum.label, 0, 3), 'part'] : substring(datum.label, 0, 3)"
LINES = TWO_LINES | {"labelExpr": f"{YEAR_WHERE} ? split(datum.label, ' ') : {IN_PART}"}


@dataclass(frozen=True)
class Span:
    """The days from `first` to `last`, as known in `month`: its tables are those of the span."""

    month: Month
    first: date
    last: date

    @property
    def title(self) -> str:
        """The span in words: a year, months, or days."""
        begins, ends = self.first.day == 1, _ends_month(self.last)
        if begins and ends and (self.first.month, self.last.month) == (1, 12) and self.first.year == self.last.year:
            return str(self.first.year)
        if begins and ends:
            start, end = month_name(self.first), month_name(self.last)
            return start if start == end else f"{_without(start, str(self.last.year))} to {end}"
        start, end = day_name(self.first), day_name(self.last)
        if self.first == self.last:
            return start
        start = _without(start, month_name(self.last)) if self.first.day != self.last.day else start
        return f"{_without(start, str(self.last.year))} to {end}"


def _without(text: str, end: str) -> str:
    """Return a day or month without the month or year that it ends with, for one that follows has it, too."""
    return text.removesuffix(f" {end}")


def _ends_month(day: date) -> bool:
    return date.fromordinal(day.toordinal() + 1).day == 1


def headline(span: Span) -> list[Sentence]:
    """Return what was picked in the span, and in which of its whole months most and least."""
    month = span.month
    kg = total(month, "span_months", "fresh_g")
    if not kg.value:
        return [("Nothing was picked in these days.",)]
    found: list[Sentence] = [(with_unit(kg, "kg"), " was picked.")]
    ends = _ends_of(month)
    if ends:
        most, least = ends
        of = " of those with a picking." if _idle(month) else "."
        found.append((*_month_of(span, most), " gave most, ", *_month_of(span, least), f" least{of}"))
    return [brief(each) for each in found]


def with_unit(figure: Figure, unit: str) -> Figure:
    """Return a figure of a table as a sentence shows it."""
    return replace(figure, unit=unit)


def _ends_of(month: Month) -> tuple[int, int] | None:
    """Return the whole months with most and with least picked, of those with a picking; None with fewer than two that
    differ.
    """
    rows = month.rows("span_months")
    whole = [at for at, row in enumerate(rows) if row["whole"] and row["pickings"]]
    if len({rows[at]["fresh_g"] for at in whole}) < 2:
        return None
    by_mass = sorted(whole, key=lambda at: number_of(rows[at], "fresh_g"))
    return by_mass[-1], by_mass[0]


def _idle(month: Month) -> bool:
    """Return whether there are whole months without a picking."""
    return any(row["whole"] and not row["pickings"] for row in month.rows("span_months"))


def _month_of(span: Span, at: int) -> Sentence:
    """Return a month with what was picked in it: without its year, where all lie in one."""
    name = _name_of(text_of(span.month.rows("span_months")[at], "month"))
    if span.first.year == span.last.year:
        name = _without(name, str(span.last.year))
    return (f"{name} (", measured(span.month, "span_months", at, "fresh_g"), ")")


def tiles(span: Span) -> list[Tile]:
    """Return the figures at the head of the page."""
    month = span.month
    pickings = several(total(month, "span_months", "pickings"), "picking")
    finished = total(month, "span_months", "units_finished")
    batches = several(rows_of(month, "finished_batches"), "batch", "batches")
    found = [
        Tile("Picked", with_unit(total(month, "span_months", "fresh_g"), "kg"), ("in ", *pickings)),
        Tile("Finished", finished, (f"container{'' if finished.value == 1 else 's'} of ", *batches)),
        Tile(
            "Lost",
            total(month, "span_months", "units_lost"),
            ("of ", *several(finished, "container"), " that finished"),
        ),
        _be_tile(month),
    ]
    return [brief_tile(each) for each in found]


def _be_tile(month: Month) -> Tile:
    """Return the BE of all that finished in the days, sum over sum, and of how many containers of which recipes."""
    recipes = several(rows_of(month, "recipes"), "recipe")
    what, known = "BE of what finished", month.rows("span_be")
    if not known or known[0]["be_finished_pct"] is None:
        return Tile(what, None, ("not known; ", *recipes))
    of = several(cell(month, "span_be", 0, "units_in_be"), "container")
    return Tile(what, measured(month, "span_be", 0, "be_finished_pct"), (*of, ", ", *recipes))


def as_of(span: Span) -> Sentence:
    """Return the sentence that names the as-of day."""
    if span.month.as_of < span.last:
        what = "the year is" if span.title == str(span.last.year) else "these days are"
        return ("As of ", Day(span.month.as_of), f": {what} not over.")
    return ("As of ", Day(span.month.as_of), ".")


def warning(span: Span) -> Sentence:
    """Return what the figures lack: picked mass that waits, or else rows that cannot be counted; nothing where nothing
    is lacking.
    """
    waits = total(span.month, "waiting_months", "waiting_g")
    if waits.value:
        parts = any(not row["whole"] for row in span.month.rows("span_months"))
        where = ", in the whole months of these days" if parts else ""
        return (
            "At least ",
            with_unit(waits, "kg"),
            f" more waits for rows to be mended{where}: gillbook check tells which.",
        )
    rejected, waiting = count(span.month, "rows_set_aside"), count(span.month, "rows_waiting")
    if not rejected.value and not waiting.value:
        return ()
    return (
        *several(rejected, "row"),
        " of the files cannot be counted, and ",
        waiting,
        " wait for them: in no figure.",
    )


def sections(span: Span) -> list[Section]:
    """Return the sections of the page, in order."""
    return [_months(span.month), _recipes(span.month), _losses(span.month), _best_and_worst(span.month)]


def charts(span: Span) -> list[Chart]:
    """Return the charts of the page, in order."""
    return [*months_chart(span.month), *(chart for section in sections(span) for chart in section.charts)]


def months_chart(month: Month) -> list[Chart]:
    """What was picked in each month of the span; of a month in part, in that part, which is marked."""
    table = month.rows("span_months")
    rows: list[Point] = [
        {"row": at, "label": _label(row["whole"], text_of(row, "month")), "kg": number_of(row, "fresh_g") / 1000}
        for at, row in enumerate(table)
    ][-MONTHS_DRAWN:]
    if not any(row["kg"] for row in rows):
        return []
    x = channel("label:N", sort=None, axis=LINES)
    y = channel("kg:Q", axis=options(title="kg, fresh", tickCount=5))
    bars = Layer(rows).mark("bar", color=paint("mass")).encode(x=x, y=y)
    ends = {*(_ends_of(month) or ()), rows[-1]["row"], max(rows, key=lambda row: float(row["kg"]))["row"]}
    few = len(rows) <= ALL_NAMED
    named_ones = [row | {"said": _short_kg(row["kg"], few)} for row in rows if few or row["row"] in ends]
    texts = over_grid(Layer(named_ones).encode(x=x, y="kg:Q"), "said:N", baseline="bottom", dy=-4)
    spec = column_chart([bars, *texts])
    facts = tuple(f"{row['label']} {row['kg']:.2f} kg" for row in rows)
    part = f"The last {len(rows)} of {len(table)} months." if len(rows) < len(table) else ""
    title = "Picked in each month"
    return [Chart("span-months", title, spec, (), "span_months", tuple(rows), facts, part=part)]


def _short_kg(kg: float, few: bool) -> str:
    """Return kg as the chart has room for them: of many months whole ones, from ten on."""
    return f"{kg:.1f}" if kg and (few or kg < WHOLE_FROM) else f"{kg:.0f}"


def _label(whole: object, month: str) -> str:
    return f"{MONTH_NAMES[int(month[5:]) - 1][:3]} {month[:4]}{'' if whole else ' part'}"


def _months(month: Month) -> Section:
    rows = month.rows("span_months")
    parts = [at for at, row in enumerate(rows) if not row["whole"]]
    notes: list[Sentence] = [
        ("What finished in a month was inoculated months before: its BE is not that of the month's picking.",)
    ]
    for at in parts:
        days = several(cell(month, "span_months", at, "days"), "day")
        notes.append((_name_of(rows[at]["month"]), " is here with ", *days, " of it."))
    sentence: Sentence = (
        *several(rows_of(month, "span_months"), "month"),
        " side by side, with what was picked, finished and lost in each.",
    )
    shown = table(month, MONTHS, "The months, of what lies in these days")
    return made("months", "The months", sentence, notes, [], [_open(shown)])


def _open(shown: PageTable | None) -> PageTable | None:
    return replace(shown, folded=False) if shown else None


def _name_of(text: object) -> str:
    return month_name(date.fromisoformat(f"{text}-01"))


def _recipes(month: Month) -> Section:
    order = best_first(month)
    sentence: Sentence = ("No recipe has a BE in these days.",)
    if order:
        best, worst = order[0], order[-1]
        most = " gave most for its dry substrate: " if best != worst else " gave BE "
        sentence = ("In these days ", *_recipe_of(month, best), most, *_be_of(month, best), ".")
        if best != worst:
            sentence = (*sentence, " Least: ", *_recipe_of(month, worst), ", ", *_be_of(month, worst), ".")
    notes: list[Sentence] = [
        ("What finished in these days, not a test of a difference: months and soaks differ, too.",)
    ]
    shown = table_of(month, RECIPES, "Recipes with containers that finished, the best first", rows_in_order(month))
    return made("recipes", "The recipes", sentence, notes if order else [], recipes_chart(month), [_open(shown)])


def _recipe_of(month: Month, at: int) -> Sentence:
    return (named(", ".join(spoken(column, text_of(month.rows("recipes")[at], column)) for column in RECIPE)),)


def _be_of(month: Month, at: int) -> Sentence:
    limits = within(month, "recipes", at, "low_pct", "high_pct")
    soaks = several(cell(month, "recipes", at, "soaks"), "soak")
    return (measured(month, "recipes", at, "be_pct"), *limits, " from ", *soaks)


def _losses(month: Month) -> Section:
    finished, lost = total(month, "span_months", "units_finished"), total(month, "span_months", "units_lost")
    rows = month.rows("batch_courses")
    bad = sorted(
        (at for at, row in enumerate(rows) if row["units_lost"]), key=lambda at: -whole_of(rows[at], "units_lost")
    )
    were = " was" if lost.value == 1 else " were"
    sentence: Sentence = (
        lost,
        " of ",
        *several(finished, "container"),
        f" that finished{were} lost without a picking.",
    )
    if not lost.value:
        sentence = ("None of ", *several(finished, "container"), " that finished was lost without a picking.")
    if not finished.value:
        sentence = ("No container finished in these days.",)
    notes: list[Sentence] = []
    if bad:
        most = cell(month, "batch_courses", bad[0], "units_lost")
        of = several(cell(month, "batch_courses", bad[0], "units"), "container")
        notes.append(
            ("Most in batch ", named(text_of(rows[bad[0]], "batch")), ": ", most, " of ", *of, ", since it was begun.")
        )
    notes += causes_note(month)
    more = f"The first {BATCHES_SHOWN} of {len(bad)}." if len(bad) > BATCHES_SHOWN else ""
    causes = table(month, CAUSES, "Causes of loss, of what finished in these days")
    shown = table_of(
        month, LOST, "Batches of these days with most containers lost since they were begun", bad[:BATCHES_SHOWN], more
    )
    return made("losses", "Losses", sentence, notes, [], [_open(causes), _open(shown)])


def _best_and_worst(month: Month) -> Section:
    rows = month.rows("finished_batches")
    known = sorted(
        (at for at, row in enumerate(rows) if row["be_pct"] is not None), key=lambda at: -number_of(rows[at], "be_pct")
    )
    without = len(rows) - len(known)
    if not known:
        return made("ends", "Best and worst", ("No batch has a BE in these days.",), [], [], [])
    best, worst = known[0], known[-1]
    sentence: Sentence = (
        "Batch " if best != worst else "Only batch ",
        _batch(month, best),
        " gave most: BE " if best != worst else " has a BE: ",
        measured(month, "finished_batches", best, "be_pct"),
        ".",
    )
    if best != worst:
        sentence = (
            *sentence,
            " Batch ",
            _batch(month, worst),
            " gave least: ",
            measured(month, "finished_batches", worst, "be_pct"),
            ".",
        )
    chance = "Of many batches some are best and worst by chance alone: one batch is no proof for or against a recipe."
    notes: list[Sentence] = [(chance,)] if best != worst else []
    if without:
        in_be = positive(month, "finished_batches", "be_pct")
        notes.append(
            (
                in_be,
                " of ",
                *several(rows_of(month, "finished_batches"), "batch", "batches"),
                " have a BE; the others gave nothing, or have no dry mass.",
            )
        )
    ends = known if len(known) <= 2 * BATCHES_SHOWN else [*known[:BATCHES_SHOWN], *known[-BATCHES_SHOWN:]]
    more = f"The first and the last {BATCHES_SHOWN} of {len(known)}." if len(ends) < len(known) else ""
    shown = table_of(month, BATCHES, "Batches by BE of what finished, the best first", ends, more)
    return made("ends", "Best and worst", sentence, notes, [], [_open(shown)])


def _batch(month: Month, at: int) -> Name:
    return named(text_of(month.rows("finished_batches")[at], "batch"))
