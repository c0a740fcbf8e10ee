"""The columns by which units can be grouped. Which unit belongs to which group: see units/unit_groups.sql."""

from __future__ import annotations

from schemas.contract import BATCHES, FILLINGS, contract
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean


def groupable() -> tuple[str, ...]:
    """Return the columns by which units can be grouped: every one of a batch and every one of a filling."""
    batch, filling = contract(BATCHES).names, contract(FILLINGS).names
    return tuple(dict.fromkeys((*batch, *filling)))


def grouping(listed: str, add_batch: bool = True) -> tuple[str, ...]:
    """Return the columns that a --by text names. "all" is the whole farm as one group; container brings its batch
    along, for a container without a batch is no unit; `add_batch` is False where all fillings of a container belong
    together.

    Raises WrongRequest for a column that no table has.
    """
    names = [name.strip() for name in listed.split(",") if name.strip()]
    if names == ["all"]:
        return ()
    for name in names:
        if name not in groupable():
            hint = did_you_mean(name, groupable())
            raise WrongRequest(f"--by {name}: there is no such column.{hint} Known: all, {', '.join(groupable())}.")
    if not names:
        raise WrongRequest("--by: name at least one column, like --by substrate, or all.")
    if add_batch and "container" in names and "batch" not in names:
        names.insert(names.index("container"), "batch")
    return tuple(dict.fromkeys(names))
