"""The interval of the share lost, put into the records of a model that has the shares of soaks in brief."""

from __future__ import annotations

from pipeline.stats.proportions import NoInterval, SoakShares, share_interval
from schemas.result_rows import Row, number_if_known

# The columns of such a model: over the shares lost of soaks, in %.
SHARES = ("mean_share", "sd_share", "least_share", "most_share")
# The columns that are put into its records.
INTERVAL = ("low_pct", "high_pct", "why_no_interval")


def interval_columns(record: Row, of_containers: bool) -> dict[str, float | str | None]:
    """Return low_pct and high_pct (in %, None without an interval) and why_no_interval (None with one).

    record: its soaks and SHARES; of_containers: whether it is by container, where there is no interval.
    """
    shares = SoakShares(int(number_if_known(record, "soaks") or 0), *(number_if_known(record, name) for name in SHARES))
    found = NoInterval.CONTAINERS if of_containers else share_interval(shares)
    if isinstance(found, NoInterval):
        return {"low_pct": None, "high_pct": None, "why_no_interval": found.value}
    return {"low_pct": found[0], "high_pct": found[1], "why_no_interval": None}
