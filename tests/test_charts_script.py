"""The shipped script that draws the charts is the one that the installed libraries make."""

from charts_script import REPORTS, VEGA_LITE

from reports.vega import bundle, made


def test_the_shipped_script_is_the_one_that_is_made() -> None:
    assert bundle() == made(VEGA_LITE), "run: make charts"


def test_one_script_is_shipped() -> None:
    assert len(list(REPORTS.glob("charts_*.js.gz"))) == 1
