"""One function a page of the local server: what it shows, as a template and its values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from urllib.parse import urlencode

from markupsafe import Markup

from reports.document import environment, part
from reports.screens.promised import Promised, promised_lines
from reports.vega import fingerprint
from reports.words import month_name, visible
from schemas.contract import HARVESTS, OBSERVATIONS, contract
from schemas.finding import Finding
from schemas.result_rows import Row

# What stands on top of each page: its address and its name.
PLACES = (
    ("/", "Today"),
    ("/weigh", "Weigh"),
    ("/sell", "Sell"),
    ("/batches", "Batches"),
    ("/mend", "Mend"),
    ("/months", "Month"),
    ("/compare", "Compare"),
    ("/money", "Money"),
    ("/plan", "Plan"),
    ("/phones", "Phones"),
)
# Each with its heading, and the events that its buttons note.
ACTIONS: Mapping[str, tuple[str, Sequence[str]]] = {
    "pick": ("Pick", ()),
    "open": ("Open", ("opened",)),
    "look": ("Look at", ("colonised", "pins", "contaminated")),
    "end": ("Silent for long: still running?", ("emptied",)),
    "fill": ("Free to be filled", ()),
}
# Of what is looked at: the events that can be seen there now; of any other reason, all of its action.
SEEN = {
    "not colonised": ("colonised", "contaminated"),
    "no pins": ("pins", "contaminated"),
    "young pins": ("contaminated",),
}
LEVELS = {
    "error": "Wrong in the ledger",
    "lost": "Lost: written, and in no file any more",
    "set_aside": "Set aside: in no figure",
    "waiting": "Waiting for another row to be mended",
    "dropped": "Cells not used: the row counts without them",
    "warning": "Doubtful: counted as they stand",
    "notice": "Good to know",
    "missing": "What would make more numbers possible",
}
# So many findings of a level are on the page; the list in out/findings.csv has all. Our choice, no source.
SHOWN = 100
MONTHS_SHOWN = 24


@dataclass(frozen=True)
class Screen:
    """A page before what was done last is put on it."""

    template: str
    title: str
    farm: str
    here: str
    values: Mapping[str, object] = field(default_factory=dict)
    notes: Sequence[str] = ()
    status: int = 200

    def render(self, done: Sequence[str] = (), undo: tuple[str, str] | None = None) -> tuple[str, str]:
        """Return the page and its policy. `done`: what was written last; `undo`: its command and entry."""
        style = part("styles/report.css") + part("screens/screens.css")
        page = (
            environment("screens/templates")
            .get_template(self.template)
            .render(
                **self.values,
                title=self.title,
                farm=visible(self.farm).strip(),
                here=self.here,
                places=PLACES,
                notes=[visible(each) for each in self.notes],
                done=[visible(each) for each in done],
                undo=undo,
                style=Markup(style),
            )
        )
        policy = (
            f"default-src 'none'; style-src {fingerprint(style)}; form-action 'self'; base-uri 'none'; "
            "frame-ancestors 'none'"
        )
        return page, policy


def today(
    farm: str, day: date, rows: Sequence[Row], promised: Promised | None, unit: str, notes: Sequence[str]
) -> Screen:
    """Return what is to be done, in the order of the shelves, and what is promised for the next days (None: nothing);
    each line with the buttons that write it. unit: of a weight that is typed without one.
    """
    sections = [
        {"action": action, "heading": heading, "lines": [_line(row, events) for row in found]}
        for action, (heading, events) in ACTIONS.items()
        if (found := [row for row in rows if row["action"] == action])
    ]
    values = {"day": day, "sections": sections, "promised": promised, "unit": unit}
    if promised:
        values["due"] = promised_lines(promised, day)
    return Screen("today.html.j2", "Today", farm, "/", values, notes)


def _line(row: Row, events: Sequence[str]) -> dict[str, object]:
    parts = [visible(str(row[name] or "")) for name in ("room", "position")]
    return {
        "place": " ".join(filter(None, parts)),
        "container": str(row["container"] or ""),
        "batch": str(row["batch"] or ""),
        "why": _why(row),
        "on": str(row["since"]) if row["action"] == "end" else "",
        "events": SEEN.get(str(row["reason"]), events),
    }


def _why(row: Row) -> str:
    days = row["days"]
    ago = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
    usual = f", usual {row['usual_days']:g}" if row["usual_days"] is not None else ""
    said = {
        "pins": f"flush {row['flush']}: pins {ago}",
        "flush due": f"flush {row['flush']}: last picked {ago}{usual}",
        "colonised": f"colonised {ago}",
        "suspect": f"suspect {ago}",
        "young pins": f"flush {row['flush']}: pins {ago}",
        "not colonised": f"inoculated {ago}, not colonised{usual}",
        "no pins": f"opened {ago}, no pins{usual}",
        "silent": f"no entry since {row['since']}",
        "lapsed": f"last heard {row['since']}; treated as ended",
    }
    return said.get(str(row["reason"]), "")


def weigh(farm: str, day: date, unit: str, query: Mapping[str, str]) -> Screen:
    """Return the form at the scale, with what is known already in its fields. unit: of a weight without one."""
    stages = contract(HARVESTS).field("cap_stage").words
    known = {name: query.get(name, "") for name in ("container", "batch")}
    return Screen("weigh.html.j2", "Weigh", farm, "/weigh", {"day": day, "stages": stages, "unit": unit, **known})


def batches(farm: str, day: date, rows: Sequence[Row], notes: Sequence[str]) -> Screen:
    """Return what is running, and the forms that note and fill."""
    events = contract(OBSERVATIONS).field("event").words
    names = dict.fromkeys(str(row["batch"]) for row in rows)
    running = [(name, [str(row["container"] or "") for row in rows if str(row["batch"]) == name]) for name in names]
    return Screen(
        "batches.html.j2", "Batches", farm, "/batches", {"day": day, "events": events, "running": running}, notes
    )


def mend(farm: str, found: Sequence[Finding], notes: Sequence[str]) -> Screen:
    """Return every finding, worst first, with the way to its row."""
    levels = []
    for level, heading in LEVELS.items():
        of_level = [each for each in found if each.level == level]
        if of_level:
            lines = [{"text": visible(each.sentence()), "row": _row_address(each)} for each in of_level[:SHOWN]]
            levels.append({"heading": heading, "count": len(of_level), "lines": lines})
    return Screen("mend.html.j2", "Mend", farm, "/mend", {"levels": levels, "shown": SHOWN}, notes)


def _row_address(each: Finding) -> str:
    mendable = each.file.endswith((".csv", ".txt", ".tsv")) and each.row > 1
    return f"/mend/row?{urlencode({'file': each.file, 'row': each.row})}" if mendable else ""


def row(farm: str, file: str, number: int, cells: Mapping[str, str], was: str, notes: Sequence[str]) -> Screen:
    """Return one row with its cells to be corrected."""
    values = {"file": file, "row": number, "cells": cells, "was": was}
    return Screen("row.html.j2", "Mend a row", farm, "/mend", values, notes)


def months(farm: str, day: date) -> Screen:
    """Return which months' reports can be opened."""
    found, first = [], day.replace(day=1)
    for _ in range(MONTHS_SHOWN):
        found.append((f"{first:%Y-%m}", month_name(first)))
        first = (
            first.replace(year=first.year - 1, month=12) if first.month == 1 else first.replace(month=first.month - 1)
        )
    return Screen("months.html.j2", "Month", farm, "/months", {"months": found})


def ask(farm: str, doubt: str, kind: str, form: Mapping[str, str], back: str) -> Screen:
    """Return the question whether an entry is to be written all the same."""
    values = {"doubt": visible(doubt), "kind": kind, "form": form, "back": back}
    return Screen("ask.html.j2", "Is that right?", farm, back, values, status=409)


def failure(said: Sequence[str], status: int) -> Screen:
    """Return what went wrong, and that nothing else did."""
    return Screen(
        "failure.html.j2", "That did not work", "", "", {"said": [visible(each) for each in said]}, status=status
    )
