"""The drawing library as one script, to be written into the page: Vega, Vega-Lite and Vega-Embed."""

from __future__ import annotations

import gzip
from base64 import b64encode
from functools import cache
from hashlib import sha256
from importlib.resources import files


@cache
def bundle() -> str:
    """Return the script that defines `vegaEmbed`, for the Vega-Lite that Altair speaks.

    It is shipped for the Altair that is locked (`make charts`); for another it is made, which takes some seconds.

    Raises RuntimeError if the script could not stand within an HTML page.
    """
    from altair import SCHEMA_VERSION

    vega_lite = "_".join(SCHEMA_VERSION.split(".")[:2])
    shipped = files("reports").joinpath(shipped_name(vega_lite))
    script = gzip.decompress(shipped.read_bytes()).decode() if shipped.is_file() else made(vega_lite)
    if any(ending in script.lower() for ending in ("</script", "<script", "<!--")) or "\r" in script:
        raise RuntimeError("The drawing library cannot stand within a page: it holds a mark of HTML.")
    return script


def shipped_name(vega_lite: str) -> str:
    """Return the name of the shipped script within this package. vega_lite: its version, like v6_1."""
    return f"charts_{vega_lite}.js.gz"


def made(vega_lite: str) -> str:
    """Return the script for this version of Vega-Lite (like v6_1), as vl-convert puts it together: about 2 s of CPU."""
    import vl_convert

    script: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;", vega_lite)
    return script


def fingerprint(script: str) -> str:
    """Return the word of a Content-Security-Policy that lets exactly this inline script (or style) pass."""
    return f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'"
