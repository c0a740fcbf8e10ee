"""The drawing library as one script, to be written into the page: Vega, Vega-Lite and Vega-Embed."""

from __future__ import annotations

import gzip
from base64 import b64encode
from functools import cache
from hashlib import sha256
from importlib.resources import files

VEGA_LITE = "v6_4"  # the version of the specifications


@cache
def packed() -> bytes:
    """Return the script that defines `vegaEmbed`, for this Vega-Lite, as gzip packs it.

    It stands in the repository (`make charts`). From a wheel, where it would be a third of all, it is made: about a
    second of CPU.
    """
    shipped = files("reports").joinpath(shipped_name(VEGA_LITE))
    return shipped.read_bytes() if shipped.is_file() else gzip.compress(made(VEGA_LITE).encode(), mtime=0)


@cache
def bundle() -> str:
    """Return the script itself: the page unpacks it, and its policy knows it by its hash."""
    return gzip.decompress(packed()).decode()


def shipped_name(vega_lite: str) -> str:
    """Return the name of the shipped script within this package. vega_lite: its version, like v6_1."""
    return f"charts_{vega_lite}.js.gz"


def made(vega_lite: str) -> str:
    """Return the script for this version of Vega-Lite (like v6_1), as vl-convert puts it together: about 1 s of CPU."""
    import vl_convert

    script: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;", vega_lite)
    return script


def fingerprint(script: str) -> str:
    """Return the word of a Content-Security-Policy that lets exactly this inline script (or style) pass."""
    return f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'"
