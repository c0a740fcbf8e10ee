"""Mass per container, where no dry mass is known: by hand, shown, compared; and what a blank strain stands for."""

from pathlib import Path

import pytest
from compare_farms import compared
from conftest import write_table
from typer.testing import CliRunner, Result

from pipeline.cli.app import app
from pipeline.compare.per_container import sizes_text
from pipeline.compare.tables import level_rows, pair_rows

# Two buckets of 20 L a batch; of A also a bag of 5 L.
GAVE = {
    "A": ("straw", "2026-01-05", 1500, 1700),
    "B": ("straw", "2026-02-04", 1550, 1750),
    "C": ("straw", "2026-03-06", 1600, 1800),
    "D": ("coffee", "2026-01-08", 1250, 1350),
    "E": ("coffee", "2026-02-07", 1300, 1400),
    "F": ("coffee", "2026-03-09", 1350, 1450),
}


def write_farm(folder: Path, settings: str = "") -> None:
    (folder / "farm.toml").write_text(settings, encoding="utf-8")
    rows: dict[str, list[str]] = {
        "batches": ["batch,inoculated_on,substrate,strain"],
        "fillings": ["batch,container,kind,volume_l"],
        "observations": ["seen_on,event,batch"],
        "harvests": ["picked_on,fresh_weight_g,container,batch,flush"],
    }
    for batch, (substrate, day, *grams) in GAVE.items():
        rows["batches"].append(f"{batch},{day},{substrate},")
        rows["observations"].append(f"2026-06-30,emptied,{batch}")
        for at, mass in enumerate(grams, 1):
            rows["fillings"].append(
                f"{batch},{batch}{at},{'Bucket' if at == 1 else 'bucket'},{'20.0' if at == 1 else 20}"
            )
            rows["harvests"].append(f"2026-05-0{at},{mass},{batch}{at},{batch},1")
    rows["fillings"].append("A,A9,bag,5")
    rows["harvests"].append("2026-05-09,400,A9,A,1")
    for table, lines in rows.items():
        write_table(folder, table, "\n".join(lines))


@pytest.fixture(scope="module")
def without_dry_mass(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("buckets")
    write_farm(folder)
    return folder


def run(folder: Path, *words: str) -> Result:
    result = CliRunner().invoke(app, [*words, "--farm", str(folder), "--as-of", "2026-07-01"], env={"COLUMNS": "80"})
    assert result.exit_code == 0, result.output
    return result


def plain(text: str) -> str:
    return " ".join(text.split())


def test_yields_show_mass_per_container_where_no_dry_mass_is_known(without_dry_mass: Path) -> None:
    said = run(without_dry_mass, "yields")
    rows = {line.split()[0]: line.split() for line in said.stdout.splitlines() if line[:1] in GAVE}
    # A has buckets and a bag, which are unlike: (1500 + 1700 + 400) g / (20 + 20 + 5) L.
    assert rows["A"] == ["A", "3", "3", "0", "3.60", "-", "80.0", "-"]
    assert rows["B"] == ["B", "2", "2", "0", "3.30", "1.65", "82.5", "-"]
    assert "BE %" not in said.stdout
    assert all(len(line) <= 80 for line in said.stdout.splitlines())
    assert "--measure kg compares it. Containers that are unlike have g per litre alone." in plain(said.stderr)
    assert "One oven test adds BE" in plain(said.stderr)


def test_flushes_and_weeks_need_no_dry_mass(without_dry_mass: Path) -> None:
    said = run(without_dry_mass, "flushes", "--by", "substrate")
    coffee = next(line.split() for line in said.stdout.splitlines() if line.startswith("coffee"))
    assert coffee[:6] == ["coffee", "1", "6", "0", "8.10", "1.35"]
    weeks = [line.split() for line in run(without_dry_mass, "months", "--weeks").stdout.splitlines()]
    assert ["2026-04-27", "not", "named", "18.00", "12"] in weeks
    assert ["2026-05-04", "not", "named", "0.40", "1"] in weeks


def test_compared_by_hand_from_containers_alike(without_dry_mass: Path) -> None:
    answer = compared(without_dry_mass, measure="kg")
    levels = {row["level"]: row for row in level_rows(answer)}
    assert levels["straw"]["estimate"] == pytest.approx((1.60 + 1.65 + 1.70) / 3)
    assert levels["coffee"]["estimate"] == pytest.approx((1.30 + 1.35 + 1.40) / 3)
    assert (levels["straw"]["unit"], levels["straw"]["units"], levels["straw"]["units_without"]) == ("kg", 6, 1)
    (pair,) = pair_rows(answer)
    # Welch: SE = .05 sqrt(2 / 3), 4 degrees of freedom, t = 2.776; 10 % of 1.5 kg count.
    width = 2.7764451 * 0.05 * (2 / 3) ** 0.5
    assert (pair["difference"], pair["smallest_effect"]) == (pytest.approx(0.30), 0.15)
    assert (pair["low"], pair["high"]) == (pytest.approx(0.30 - width), pytest.approx(0.30 + width))
    assert pair["sentence"].startswith("straw gave more than coffee: by 0.19 to 0.41 kg, about 0.30.")
    assert answer.sizes is not None
    assert "only these are counted: bucket 20 L. Left out: bag 5 L: 1." in sizes_text(answer.sizes)


def test_containers_that_are_compared_count_as_they_are(without_dry_mass: Path) -> None:
    levels = {row["level"]: row for row in level_rows(compared(without_dry_mass, "kind", "kg"))}
    assert levels["bag"]["of_sums"] == pytest.approx(0.4)
    # The second bucket of each batch: its kind is written in small letters.
    assert levels["bucket"]["of_sums"] == pytest.approx((1.7 + 1.75 + 1.8 + 1.35 + 1.4 + 1.45) / 6)


def test_per_litre_pools_what_is_unlike(without_dry_mass: Path) -> None:
    answer = compared(without_dry_mass, measure="g-per-litre")
    levels = {row["level"]: row for row in level_rows(answer)}
    assert levels["straw"]["estimate"] == pytest.approx((3600 / 45 + 3300 / 40 + 3400 / 40) / 3)
    assert answer.sizes is None


def test_without_a_dry_mass_compare_says_what_can_be_compared(without_dry_mass: Path) -> None:
    for words in (["compare", "substrate"], ["compare"]):
        said = plain(run(without_dry_mass, *words).stdout)
        assert "--measure kg compares kg per container. One oven test adds BE" in said


def test_a_blank_strain_is_that_of_farm_toml_or_not_named(without_dry_mass: Path, tmp_path: Path) -> None:
    assert "not named" in run(without_dry_mass, "yields", "--by", "strain").stdout
    write_farm(tmp_path, 'strain = "Blue"\n')
    assert "Blue" in run(tmp_path, "yields", "--by", "strain").stdout
    assert "no strain is named" in plain(CliRunner().invoke(app, ["check", "--farm", str(without_dry_mass)]).output)
    assert "no strain is named" not in plain(CliRunner().invoke(app, ["check", "--farm", str(tmp_path)]).output)


def test_two_spellings_are_joined_by_farm_toml(tmp_path: Path) -> None:
    write_farm(tmp_path, '[words.substrate]\n"COFFEE" = "Grounds"\n[words.kind]\n"bag" = "sack"\n')
    said = run(tmp_path, "yields", "--by", "substrate").stdout
    assert "Grounds" in said
    assert "coffee" not in said
    assert "sack" in run(tmp_path, "yields", "--by", "kind").stdout
