"""The drawing library as one script, to be written into the page: Vega, Vega-Lite and Vega-Embed."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from hashlib import sha256


@cache
def bundle() -> str:
    """Return the script that defines `vegaEmbed`, for the Vega-Lite that Altair speaks.

    Takes some seconds, once a process.

    Raises RuntimeError if the script could not stand within an HTML page.
    """
    import vl_convert
    from altair import SCHEMA_VERSION

    script = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;", "_".join(SCHEMA_VERSION.split(".")[:2]))
    if any(ending in script.lower() for ending in ("</script", "<script", "<!--")) or "\r" in script:
        raise RuntimeError("The drawing library cannot stand within a page: it holds a mark of HTML.")
    return script


def fingerprint(script: str) -> str:
    """Return the word of a Content-Security-Policy that lets exactly this inline script (or style) pass."""
    return f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'"
