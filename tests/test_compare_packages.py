"""Things that change together and belong to one thing are compared as one."""

from pathlib import Path

import pytest
from conftest import gillbook, write_table

SMALL, LARGE = ("bucket", 5, 2), ("bucket", 20, 8)


def write_containers(folder: Path) -> None:
    """Four soaks, each split into buckets of 5 L with 2 holes and of 20 L with 8, which give 26 less."""
    (folder / "farm.toml").write_text("", encoding="utf-8")
    batches = ["batch,inoculated_on,substrate,strain,substrate_wet_kg,spawn_kg"]
    fillings = ["batch,container,kind,volume_l,holes_open,substrate_dry_kg"]
    seen, picked = ["seen_on,event,batch,container"], ["picked_on,fresh_weight_g,batch,container,flush"]
    for at in range(4):
        name = f"N{at}"
        batches.append(f"{name},2026-0{at + 1}-05,straw,grey,10,1")
        for kind, volume, holes in (SMALL, LARGE):
            for number in range(3):
                place = f"{name}-{volume}-{number}"
                fillings.append(f"{name},{place},{kind},{volume},{holes},1")
                gave = 600 + 40 * at + 15 * number + (260 if volume == 5 else 0) + 6 * at * (volume == 5)
                picked.append(f"2026-0{at + 2}-05,{gave},{name},{place},1")
                seen.append(f"2026-0{at + 3}-20,emptied,{name},{place}")
    for table, lines in (("batches", batches), ("fillings", fillings), ("observations", seen), ("harvests", picked)):
        write_table(folder, table, "\n".join(lines))


@pytest.fixture
def buckets(tmp_path: Path) -> Path:
    write_containers(tmp_path)
    return tmp_path


def test_a_refusal_names_the_package_that_can_be_compared(buckets: Path) -> None:
    (volume,) = gillbook("compare", "volume_l", "--farm", buckets, "--as-of", "2026-12-31", "--json").json
    assert volume["direction"] == "cannot tell"
    assert volume["rules"].startswith("R3")
    assert volume["next_step"].endswith("or compare the container as one: gillbook compare container")


def test_volume_and_holes_are_compared_as_one_container(buckets: Path) -> None:
    said = gillbook("compare", "container", "--farm", buckets, "--as-of", "2026-12-31")
    (row,) = gillbook("compare", "container", "--farm", buckets, "--as-of", "2026-12-31", "--json").json
    assert {row["level"], row["against"]} == {"bucket, 5 L, 2 open holes", "bucket, 20 L, 8 open holes"}
    # 260 g of 1 kg, and 6 g more from soak to soak: 26.9 points on average.
    assert abs(row["difference"]) == pytest.approx(26.9)
    assert (row["direction"] in ("more", "less"), row["worth"]) == (True, "worth it")
    assert "Which part of the container it is, these records cannot tell." in " ".join(said.out.split())


def test_recipes_are_one_label_of_what_makes_them(buckets: Path) -> None:
    levels = gillbook("compare", "recipe", "--farm", buckets, "--as-of", "2026-12-31", "--json", "--levels").json
    assert [row["level"] for row in levels] == ["straw, grey, 10 %"]
