"""Days as they are typed: words, steps back, and the farm's own order of dates; whatever may be two is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from ledgers import THREE_TABLES, here, rows

from pipeline.logbook.typed_days import typed_day
from schemas.finding import WrongRequest

Farm = Callable[..., Path]
FRIDAY = date(2026, 5, 15)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2026-05-31", "", "2026-05-31"),
        ("Yesterday", "", "2026-05-14"),
        ("today", "", "2026-05-15"),
        ("mon", "", "2026-05-11"),
        ("Friday", "", "2026-05-15"),
        ("sat", "", "2026-05-09"),
        ("-2d", "", "2026-05-13"),
        ("-2", "", "2026-05-13"),
        ("-1w", "", "2026-05-08"),
        ("+3d", "", "2026-05-18"),
        ("06/10/2026", "day_month_year", "2026-10-06"),
        ("06/10/2026", "month_day_year", "2026-06-10"),
        ("6.10.26", "day_month_year", "2026-10-06"),
        ("2026/10/06", "year_month_day", "2026-10-06"),
        ("2026-05-31", "month_day_year", "2026-05-31"),
        # One reading is left, whatever the order.
        ("31/05/2026", "", "2026-05-31"),
        ("5/31/2026", "", "2026-05-31"),
        ("5/5/2026", "", "2026-05-05"),
        ("2026/5/31", "", "2026-05-31"),
    ],
)
def test_days_are_read(text: str, order: str, day: str) -> None:
    assert typed_day("--on", text, FRIDAY, lambda: order).isoformat() == day


@pytest.mark.parametrize(
    ("text", "order", "message"),
    [
        ("06/10/2026", "", "may be two days. Write 2026-06-10 or 2026-10-06; or say once"),
        ("31/05/2026", "month_day_year", "not a date as month_day_year of farm.toml has it"),
        ("2026-13-01", "", "not a date"),
        ("2026-1-1", "", "not a date"),
        ("20260501", "", "not a date"),
        ("soon", "", "not a date. Write year-month-day, like 2026-05-31"),
        ("", "", "not a date"),
        ("32/13/2026", "", "not a date"),
        ("-9999w", "", "not a date"),
    ],
)
def test_what_is_no_day_or_two_is_refused(text: str, order: str, message: str) -> None:
    with pytest.raises(WrongRequest, match=message):
        typed_day("--on", text, FRIDAY, lambda: order)


def test_a_weekday_ahead_is_the_next_one() -> None:
    assert typed_day("--by", "mon", FRIDAY, lambda: "", ahead=True) == date(2026, 5, 18)
    assert typed_day("--by", "fri", FRIDAY, lambda: "", ahead=True) == FRIDAY


def test_every_command_takes_them_by_the_farms_own_order(farm: Farm) -> None:
    folder = farm('date_order = "day_month_year"\n', **THREE_TABLES)
    said = here("weigh", "1", "412", "--on", "06/02/2026", "--farm", folder)
    assert (said.code, "2026-02-06: 412 g" in said.out) == (0, True), said.err
    said = here("note", "1", "pins", "--on", "-2d", "--insist", "--farm", folder)
    assert f"on {date.today() - timedelta(days=2)}" in said.out
    assert here("yields", "--as-of", "06/03/2026", "--farm", folder).code == 0
    assert rows(folder, "select count(*) from harvests where picked_on = date '2026-02-06'") == [(2,)]
    said = here("yields", "--as-of", "13/13/2026", "--farm", folder)
    assert (said.code, "not a date as day_month_year" in said.err) == (2, True)


def test_an_option_given_twice_is_refused_and_nothing_is_written(farm: Farm, tmp_path: Path) -> None:
    folder = farm(**THREE_TABLES)
    before = (folder / "harvests.csv").read_bytes()
    said = here("weigh", "1", "412", "--farm", folder, "--farm", tmp_path / "other")
    assert (said.code, said.out, (folder / "harvests.csv").read_bytes()) == (2, "", before)
    assert said.err.startswith(f"weigh: --farm is given twice, {folder} and {tmp_path / 'other'}. Nothing was done.")
    assert here("weigh", "1", "412", "--on", "2026-02-06", "--on=2026-02-07", "--farm", folder).code == 2
    assert here("weigh", "1", "412", "--on", "2026-02-06", "--note", "--on", "--farm", folder).code == 0


def test_a_decimal_comma_is_taken_for_numbers_of_every_command(farm: Farm) -> None:
    said = here("outlook", "--need", "1,234", "--by", "2026-06-01", "--farm", farm(**THREE_TABLES))
    assert (said.code, "Invalid value for '--need'" in said.err) == (2, True)
    said = here("outlook", "--need", "5,5", "--by", "2026-06-01", "--farm", farm(**THREE_TABLES))
    assert "Invalid value" not in said.err
