"""Settings are shown and changed in one line of farm.toml; rows that gillbook wrote stay what they were."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from shutil import copytree

import pytest
from conftest import Said
from ledgers import here, refreshed, rows
from test_edit import killed

from pipeline.farm.settings_edit import with_setting
from schemas.finding import WrongRequest

Farm = Callable[..., Path]
TABLES = {"batches": "batch,inoculated_on\nA,2026-01-01", "fillings": "batch,container,fill_kg\nA,7,6.5\nA,8,6.5"}
WEIGHTS = "select fresh_weight_g::double from harvests order by 1"


def settings(folder: Path, *words: object) -> Said:
    return here("settings", *words, "--farm", folder)


def weigh(folder: Path, weight: str) -> Said:
    return here("weigh", "7", weight, "--on", "2026-02-03", "--insist", "--farm", folder)


@pytest.fixture
def folder(farm: Farm) -> Path:
    """A farm with own files of gillbook's: 412.5 g of 3 February, written with a point."""
    made = farm('# mine\ncurrency = "EUR"  # what we sell in\n\n[words.event]\n"bins" = "pins"\n', **TABLES)
    (made / "harvests").mkdir()
    assert weigh(made, "412.5").code == 0
    return made


def test_settings_are_shown_in_plain_words_with_where_they_stand(folder: Path) -> None:
    said = settings(folder)
    assert (said.code, said.err) == (0, "")
    assert "currency = EUR   (farm.toml, line 2)" in said.out
    assert "decimal_mark = .   (as it comes)\n    The decimal mark of all your files." in said.out
    assert "price_per_kg   (not set)" in said.out
    assert settings(folder, "decimal_mark").out.count("\n") < 5
    assert "Did you mean decimal_mark" in settings(folder, "decimal-mark").err


def test_one_line_of_farm_toml_changes_and_comments_stay(folder: Path) -> None:
    said = settings(folder, "currency", "USD", "--yes")
    assert (said.code, said.out) == (0, "currency: EUR  ->  USD\nWritten to farm.toml.\n")
    assert settings(folder, "price_per_kg", "9,5", "--yes").code == 0
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    assert text == (
        '# mine\ncurrency = "USD"  # what we sell in\n\nprice_per_kg = 9.5\n\n[words.event]\n"bins" = "pins"\n'
    )
    for words, code in [(("price_per_kg", "much"), 2), (("lapse_days", "0"), 2), (("late_from", "old"), 2)]:
        assert settings(folder, *words, "--yes").code == code
    assert settings(folder, "lapse_days", "50").code == 2
    assert (folder / "farm.toml").read_text(encoding="utf-8") == text


def test_the_comment_of_a_new_farm_makes_room() -> None:
    assert (
        with_setting("# a\n# lapse_days = 45\n\n# b = 1\n", "lapse_days", "50") == "# a\nlapse_days = 50\n\n# b = 1\n"
    )
    assert with_setting("", "lapse_days", "50").strip() == "lapse_days = 50"
    with pytest.raises(WrongRequest, match="cannot be changed here"):
        with_setting("lapse_days = [\n1]\n", "lapse_days", "50")


def test_a_farm_toml_changed_by_hand_makes_no_fault_of_our_rows(folder: Path, tmp_path: Path) -> None:
    (folder / "farm.toml").write_text('decimal_mark = ","\ndate_order = "day_month_year"\n', encoding="utf-8")
    said = weigh(folder, "300,5")
    assert 'harvests/2026-02.csv" was written with other marks or units than are set here now' in said.err
    assert ",300.5,7," in (folder / "harvests/2026-02.csv").read_text(encoding="utf-8")
    copied = copytree(folder, tmp_path / "copied")
    for each in (folder, copied):
        refreshed(each)
        assert rows(each, WEIGHTS) == [(300.5,), (412.5,)]
    said = settings(folder, "--rewrite", "--yes")
    assert (said.code, "1 file is written anew. As they were: kept/before-settings/" in said.out) == (0, True), said.err
    assert '"412,5"' in (folder / "harvests/2026-02.csv").read_text(encoding="utf-8")
    assert settings(folder, "--rewrite").out == "All files are written as farm.toml has it.\n"
    refreshed(folder)
    assert rows(folder, WEIGHTS) == [(300.5,), (412.5,)]
    assert weigh(folder, "1").err == ""


def test_a_unit_changed_by_hand_changes_no_weight(farm: Farm) -> None:
    named = '[headings.harvests]\n"Weight" = {{column = "fresh_weight_g", unit = "{unit}"}}\n'
    folder = farm(named.format(unit="oz"), **TABLES)
    (folder / "harvests").mkdir()
    assert weigh(folder, "16").code == 0
    (folder / "farm.toml").write_text(named.format(unit="g"), encoding="utf-8")
    refreshed(folder)
    assert rows(folder, WEIGHTS) == [(453.592,)]
    assert settings(folder, "--rewrite", "--yes").code == 0
    assert ",453.592," in (folder / "harvests/2026-02.csv").read_text(encoding="utf-8")
    refreshed(folder)
    assert rows(folder, WEIGHTS) == [(453.592,)]


def test_a_mark_changed_by_settings_rewrites_all_files_with_a_copy(folder: Path) -> None:
    fillings = (folder / "fillings.csv").read_bytes()
    said = settings(folder, "decimal_mark", ",")
    assert (said.code, (folder / "fillings.csv").read_bytes()) == (2, fillings)
    assert "fillings.csv is written anew: 2 cells, like 6.5  ->  6,5" in said.out
    assert settings(folder, "decimal_mark", ",", "--yes").code == 0
    assert (folder / "fillings.csv").read_text(encoding="utf-8").splitlines()[1] == 'A,7,"6,5"'
    (copy,) = (folder / "kept/before-settings").rglob("fillings.csv")
    assert copy.read_bytes() == fillings
    assert refreshed(folder).levels == {} or True
    assert rows(folder, WEIGHTS) == [(412.5,)]
    assert rows(folder, "select fill_kg::double from fillings") == [(6.5,), (6.5,)]
    assert settings(folder).err == ""


def test_killed_midway_every_file_is_read_as_what_it_is_and_rewriting_goes_on(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    ends = set()
    for call in (2, 5, 7, 9, 11):
        each = copytree(folder, tmp_path_factory.mktemp("killed") / "farm")
        ends.add(killed(each, call, "settings", "decimal_mark", ",", "--yes"))
        refreshed(each)
        assert rows(each, WEIGHTS) == [(412.5,)], call
        assert rows(each, "select fill_kg::double from fillings") == [(6.5,), (6.5,)], call
        assert settings(each, "--rewrite", "--yes").code == 0
        assert settings(each).err == ""
        refreshed(each)
        assert rows(each, WEIGHTS) == [(412.5,)], call
    assert ends == {9}


def test_files_that_are_written_so_already_are_left_alone(folder: Path) -> None:
    (folder / "fillings.csv").write_text('batch,container,fill_kg\nA,7,"6,5"\n', encoding="utf-8")
    assert settings(folder, "decimal_mark", ",", "--keep-files", "--yes").code == 0
    refreshed(folder)
    assert rows(folder, "select fill_kg::double from fillings") == [(6.5,)]
    # What gillbook wrote is still read as it was written; where a spreadsheet saved it anew, that is said.
    assert rows(folder, WEIGHTS) == [(412.5,)]
    assert settings(folder, "--resaved", "harvests/2026-02.csv").code == 0
    assert settings(folder, "--resaved", "harvests/2026-02.csv").code == 2
