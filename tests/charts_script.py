"""Writes the script that draws the charts, for the Altair that is installed: `make charts`."""

import gzip
from pathlib import Path

from altair import SCHEMA_VERSION

from reports.vega import made, shipped_name

VEGA_LITE = "_".join(SCHEMA_VERSION.split(".")[:2])
REPORTS = Path(__file__).resolve().parents[1] / "reports"


def main() -> None:
    """Replace the shipped script; its bytes are alike for alike."""
    for old in REPORTS.glob("charts_*.js.gz"):
        old.unlink()
    (REPORTS / shipped_name(VEGA_LITE)).write_bytes(gzip.compress(made(VEGA_LITE).encode(), mtime=0))


if __name__ == "__main__":
    main()
