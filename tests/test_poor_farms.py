"""What do the commands that compare, look ahead, plan and trace say of farms that tell them too little?"""

from collections.abc import Callable
from pathlib import Path

import pytest
from ledgers import here

Farm = Callable[..., Path]
BATCH = "batch,inoculated_on,strain,substrate,substrate_wet_kg,moisture_pct,spawn_kg,spawn_form"
NO_DRY_MASS = {
    "batches": "batch,inoculated_on,substrate\n" + "\n".join(f"N{n},2026-0{n}-05,{'ab'[n % 2]}" for n in range(1, 7)),
    "fillings": "batch,container\n" + "\n".join(f"N{n},C{n}" for n in range(1, 7)),
    "observations": "seen_on,event,container\n" + "\n".join(f"2026-0{n + 1}-25,emptied,C{n}" for n in range(1, 7)),
    "harvests": "picked_on,fresh_weight_g,container\n" + "\n".join(f"2026-0{n}-28,5{n}0,C{n}" for n in range(1, 7)),
}
FARMS = {
    "one batch": {
        "batches": f"{BATCH}\nA,2026-01-05,grey,straw,10,70,1,grain",
        "fillings": "batch,container,fill_kg\nA,1,5.5\nA,2,5.5",
        "harvests": "picked_on,fresh_weight_g,container\n2026-02-05,500,1\n2026-02-20,300,1",
    },
    "days to come": {"batches": f"{BATCH}\nA,2027-01-05,grey,straw,10,70,1,grain"},
    "no dry mass": NO_DRY_MASS,
    "no day": {
        "batches": f"{BATCH}\nA,,grey,straw,10,70,1,grain\nB,2026-02-30,,,,,,",
        "harvests": "picked_on,fresh_weight_g,batch\n2026-03-01,100,A\nx,y,z",
    },
}
ASKED = (
    "compare",
    "compare substrate --measure losses",
    "pins",
    "flushes --per-flush",
    "another-flush",
    "spawn",
    "outlook --need 5 --by 2026-10-20",
    "trial --factor substrate --levels straw,mulch",
)
VERDICTS = (
    "more",
    "less",
    "leans to more",
    "leans to less",
    "no difference that matters",
    "wait",
    "start anew",
    "pays",
)


@pytest.mark.parametrize("name", FARMS)
def test_a_farm_that_tells_too_little_is_told_so(farm: Farm, name: str) -> None:
    folder = farm(**FARMS[name])
    for asked in ASKED:
        said = here(*asked.split(), "--farm", folder, "--as-of", "2026-09-30")
        assert said.code == 0, (asked, said.err)
        assert said.out or said.err, asked
        assert "crash.txt" not in said.err
        assert all(len(line) <= 80 for line in said.out.splitlines()), asked
    for asked in ("compare substrate", "another-flush", "spawn --table steps"):
        found = here(*asked.split(), "--json", "--farm", folder, "--as-of", "2026-09-30").json
        answers = {row.get(column) for row in found for column in ("direction", "worth", "answer")}
        assert not answers & set(VERDICTS), asked


def test_what_is_not_there_cannot_be_traced(farm: Farm) -> None:
    folder = farm(**FARMS["one batch"])
    for option, value in (("--spawn-lot", "L9"), ("--soak", "S9"), ("--picked", "2026-07-09")):
        said = here("trace", option, value, "--farm", folder, "--as-of", "2026-09-30")
        assert (said.code, said.err.split(":")[0]) == (2, f"{option} {value}")
