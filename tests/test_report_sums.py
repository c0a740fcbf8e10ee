"""A filtered page adds up what is chosen: its tiles and charts are what plain Python finds in the files."""

from __future__ import annotations

import json
import shutil
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from recompute_farm import Farm, Place, load
from recompute_months import finish_of
from recompute_units import Unit, units
from report_months import a_month
from test_report_filter import choose, mixed_month
from test_report_meanings import gathered

from reports.figures import Figure, shortened
from reports.filters import Filters, Marks
from reports.month import Month
from reports.page import render
from reports.sums import sums
from reports.words import short_day
from schemas.result_rows import day_of, number_of

in_browser = pytest.mark.skipif(not there(), reason=WHY_NOT)
DEMO = Path(__file__).resolve().parents[1] / "demo_data"
AS_OF = date(2026, 9, 30)
Grams = Mapping[date, Fraction]  # picked on each day
CHARTS = ("months", "calendar", "outlook")
# Chooses each of these and reads what is said; nothing waits for what is drawn.
READ = """(wanted => JSON.stringify(wanted.map(chosen => {
  const form = document.getElementById("filter");
  for (const [name, text] of Object.entries(chosen)) {
    const field = form.elements[name];
    field.value = [...field.options].find(each => each.textContent === text).value;
  }
  form.dispatchEvent(new Event("change"));
  const charts = %s.map(id => document.getElementById("chart-" + id).ariaLabel);
  const tiles = [...document.querySelectorAll(".heads > div")];
  return [tiles.map(each => each.innerText.replaceAll("\\u00a0", " ")), charts];
})))(%s)"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("summed") / "farm"
    shutil.copytree(DEMO, path)
    return path


@pytest.fixture(scope="module")
def month(folder: Path) -> Month:
    (found,) = gathered(folder, [AS_OF.replace(day=1)])
    return found


@pytest.fixture(scope="module")
def browser(month: Month, folder: Path) -> Iterator[Browser]:
    page = folder / "page.html"
    page.write_text(render(month), encoding="utf-8", newline="\n")
    with chromium() as tab:
        tab.open(page)
        yield tab


@dataclass(frozen=True)
class Chosen:
    """What is chosen of recipe, strain and kind ("all": any), and what that is of the farm's record, in Python."""

    farm: Farm
    recipe: str
    strain: str
    kind: str

    def has(self, place: Place) -> bool | None:
        """Return whether it is of what is chosen; None where it is of others too, weighed together."""
        row = self.farm.batches[place.batch].words
        recipe = " \u00b7 ".join(row[name].replace("_", " ") for name in ("substrate", "treatment", "spawn_form"))
        if self.recipe not in ("all", recipe) or self.strain not in ("all", row["strain"]):
            return False
        own = self.farm.containers(place.batch) if place.container is None else [place.container]
        kinds = {self.farm.fillings[place.batch, each].words.get("kind", "").lower() or "not noted" for each in own}
        kinds = kinds or {"not noted"}
        return True if self.kind == "all" or kinds == {self.kind} else None if self.kind in kinds else False

    def picked(self, whole: bool | None = True) -> Grams:
        found: dict[date, Fraction] = defaultdict(Fraction)
        for each in self.farm.pickings:
            if each.day <= AS_OF and self.has(each.place) is whole:
                found[each.day] += each.grams
        return found

    def ended(self, of: Sequence[Unit], in_month: str, whole: bool | None = True) -> list[Unit]:
        days = {id(each): finish_of(each) for each in of}
        now = [each for each in of if f"{days[id(each)] or ''}".startswith(in_month)]
        return [each for each in now if self.has(Place(each.batch, each.container)) is whole]

    def expected(self, month: Month, whole: bool | None = True) -> list[float]:
        found = [0.0] * len(month.rows("outlook"))
        for row in month.rows("outlook_by_batch"):
            batch = str(row["batch"])
            known = batch in self.farm.batches and (self.farm.inoculated(batch) or AS_OF) <= AS_OF
            if (self.has(Place(batch, None)) if known else None) is whole:
                found[int(number_of(row, "week")) - 1] += number_of(row, "expected_kg")
        return found


def brief(value: float, column: str = "fresh_g", table: str = "months") -> str:
    digits = 1 if column.endswith("_pct") else 2
    exact = value * 1000 if column == "fresh_g" else value
    return shortened(Figure(f"{value:.{digits}f}", exact, (f"{table}/0/{column}",))).text


def kg(grams: Fraction) -> str:
    return f"{brief(float(grams) / 1000)} kg" if grams else "nothing"


def by_month(picked: Grams) -> dict[str, Fraction]:
    found: dict[str, Fraction] = defaultdict(Fraction)
    for day, each in picked.items():
        found[f"{day:%Y-%m}"] += each
    return found


def test_a_figure_is_the_sum_of_its_parts_and_they_are_marked() -> None:
    month = mixed_month()
    filters = Filters(month)
    marks = Marks(filters)
    found = sums(month, filters, marks)
    shown = {"unit": "kg", "divisor": 1000, "decimals": 2}
    at = month.place()
    of = {mark: marks.sets[mark] for mark in range(len(marks.sets))}
    assert filters.combinations == [[0, 0, 1], [1, 0, 0], [1, 0, 1], [1, 1, 1]]
    parts = found[f"months/{at}/fresh_g"]
    assert {**parts, "parts": {tuple(of[mark]): amount for mark, amount in parts["parts"]}} == {  # type: ignore[dict-item]
        **shown,
        "parts": {(0,): 900.0, (1,): 300.0, (2,): 900.0, (3,): 1300.0},
    }
    be = found[f"months/{at}/be_finished_pct"]
    assert [amount for _, amount in be["over"]] == [1000.0] * 4  # type: ignore[index]
    weeks = [found[f"outlook/{week}/sum_median_kg"]["parts"] for week in (0, 3)]  # type: ignore[index]
    assert [sum(amount for _, amount in each) for each in weeks] == pytest.approx([5.0, 20.0])
    assert sums(replace(month, tables={"months": month.rows("months")}), filters, marks) == {}
    assert sums(a_month(), Filters(a_month()), marks) == {}


def test_what_was_weighed_together_is_of_all_kinds_of_its_recipe() -> None:
    filters = Filters(mixed_month())
    straw = {"substrate": "straw", "treatment": "cold_lime", "spawn_form": "grain", "strain": "grey"}
    assert filters.of_part({**straw, "kind": "bag"}) == {1}
    assert filters.of_part({**straw, "kind": None}) == {1, 2}
    assert filters.of_part({"batch": "A"}) == {1, 2}
    assert filters.of_part({"batch": "not yet begun"}) == filters.all


@cache
def asked() -> tuple[Farm, list[Unit]]:
    farm = load(DEMO)
    return farm, units(farm, AS_OF)


def choices(month: Month) -> list[dict[str, str]]:
    fields = {each.name: ("all", *each.options) for each in Filters(month).choices}
    return [dict(zip(fields, each, strict=True)) for each in product(*fields.values())][1:]


def tiles_of(chosen: Chosen, of: Sequence[Unit]) -> dict[str, list[str]]:
    """What the tiles should say, but for what is of the whole farm."""
    picked, also = by_month(chosen.picked()), by_month(chosen.picked(None))
    now, then = (chosen.ended(of, name) for name in ("2026-09", "2026-08"))
    mixed = [chosen.ended(of, name, None) for name in ("2026-09", "2026-08")]
    first = kg(picked["2026-09"]) if picked["2026-09"] else "\u2013" if also["2026-09"] else "0 kg"
    assert not any(mixed), "the demo farm has none"
    lost, before = (sum(1 for each in some if not each.pickings) for some in (now, then))
    things = "container" if len(now) == 1 else "containers"
    weighed = [each for each in now if each.dry_kg is not None]
    fresh = sum(float(picking.grams) / 1000 for each in weighed for picking in each.pickings)
    be = 100 * fresh / float(sum(each.dry_kg or 0 for each in weighed)) if fresh else None
    return {
        "BE of what finished": [f"{brief(be, 'be_finished_pct')} %" if be else "\u2013"],
        "Picked": [first, f"Aug 2026: {kg(picked['2026-08'])}"],
        "Lost": [str(lost), f"of {len(now)} {things} that ended", f"Aug 2026: {before} of {len(then)}"],
    }


@in_browser
def test_each_choice_of_the_demo_month_shows_what_its_files_hold(month: Month, browser: Browser) -> None:
    farm, of = asked()
    wanted = choices(month)
    read = json.loads(browser.evaluate(READ % (json.dumps(CHARTS), json.dumps(wanted))))
    assert len(read) == len(wanted) > 60
    for each, (tiles, labels) in zip(wanted, read, strict=True):
        chosen = Chosen(farm, **each)
        lines = {tile.splitlines()[0]: tile.splitlines()[1:] for tile in tiles}
        for name, told in tiles_of(chosen, of).items():
            assert [line for line in told if line not in lines[name]] == [], (each, lines)
        expected = chosen.expected(month)
        four, also = (sum(some[:4]) for some in (expected, chosen.expected(month, None)))
        ahead = lines["Next four weeks"]
        assert ahead[0] == ("\u2013" if also and not four else f"{brief(four, 'sum_median_kg', 'outlook')} kg"), each
        assert (f"{brief(also, 'sum_median_kg', 'outlook')} kg also of others" in ahead) == bool(also), each
        assert "on average, without a range" in ahead
        _charts_say(chosen, month, labels, expected)
    assert browser.log == []


def _charts_say(chosen: Chosen, month: Month, labels: Sequence[str], expected: Sequence[float]) -> None:
    picked = chosen.picked()
    days = [
        f"{short_day(day)} {float(g) / 1000:.2f} kg"
        for day, g in sorted(picked.items())
        if (day.year, day.month) == (2026, 9)
    ]
    months = [
        f"{date.fromisoformat(f'{at}-01'):%b %Y} {float(g) / 1000:.2f} kg" for at, g in sorted(by_month(picked).items())
    ]
    weeks = [
        f"{short_day(day_of(row, 'first_day'))}: {kg:.2f} kg expected"
        for row, kg in zip(month.rows("outlook"), expected, strict=True)
        if f"{kg:.2f}" != "0.00"
    ]
    for label, facts in zip(labels, (months, days, weeks), strict=True):
        shown = "; ".join(facts) if facts else "nothing of what is chosen"
        assert label.endswith(f"Filtered: {shown}."), (chosen.recipe, chosen.strain, chosen.kind, label, shown)


@in_browser
def test_what_is_drawn_is_what_was_added_up_and_all_comes_back(month: Month, folder: Path, browser: Browser) -> None:
    browser.open(folder / "page.html")
    seen = """JSON.stringify([document.querySelector(".heads").outerHTML,
        [...document.querySelectorAll("#chart-months, #chart-calendar, #chart-outlook")].map(each => each.ariaLabel),
        [...document.querySelectorAll("#chart-calendar svg text")].map(each => each.textContent).sort(),
        [...document.querySelectorAll("#chart-outlook svg path")].length])"""
    before = browser.evaluate(seen)
    choose(browser, "strain", "pink")
    picked = Chosen(asked()[0], "all", "pink", "all").picked()
    days = [float(g) / 1000 for day, g in picked.items() if (day.year, day.month) == (2026, 9)]
    texts = json.loads(browser.evaluate(seen))[2]
    assert sorted(f"{kg:.{2 if kg < 0.05 else 1}f}" for kg in days) == [each for each in texts if "." in each]
    # The fan's ranges, and what came before, are of the whole farm.
    drawn = "[...document.querySelectorAll('#chart-outlook svg .mark-area, #chart-outlook svg .mark-rule.role-mark')]"
    assert browser.evaluate(f"{drawn}.length") == 0
    assert browser.evaluate("document.querySelector('#chart-outlook').parentElement.querySelector('.key').hidden")
    choose(browser, "strain", "all")
    choose(browser, "recipe", "wheat straw \u00b7 cold lime \u00b7 grain")
    assert browser.log == []
    browser.tap("#filter button[type=reset]")
    browser.wait("!document.querySelector('.marked')")
    browser.wait(f"{drawn}.length > 0")
    browser.wait(f"{seen} === {json.dumps(before)}")
    assert not browser.evaluate("document.querySelector('#chart-outlook').parentElement.querySelector('.key').hidden")


@in_browser
def test_figures_are_rounded_as_in_python(browser: Browser) -> None:
    values = [0, 0.125, 0.135, 0.15, 0.25, 0.375, 1.005, 2.5, 9.995, 12.25, 12.35, 99.95, 105.5, 1234.5, 1234.567]
    told = browser.evaluate(f"JSON.stringify({json.dumps(values)}.map(each => sums.brief(each, 2)))")
    python = [
        shortened(Figure(f"{round(each, 2):,.2f}".replace(",", "\u202f"), 1000 * each, ("months/0/fresh_g",))).text
        for each in values
    ]
    assert json.loads(told) == python
