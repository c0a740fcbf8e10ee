"""What every page of ours is made of: its policy, its data, its style and scripts, and the template they stand in."""

from __future__ import annotations

import gzip
import json
from base64 import b64encode
from collections.abc import Sequence
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined

from reports.vega import fingerprint
from reports.words import visible


def policy(styles: Sequence[str], scripts: Sequence[str] = (), sends: bool = False) -> str:
    """Return the page's Content-Security-Policy.

    It may run its own scripts and styles, known by their hashes, and reach nothing at all; where it `sends`, the
    computer that served it.
    """
    connect = "connect-src 'self'; " if sends else ""
    return (
        f"default-src 'none'; {connect}"
        f"script-src {' '.join(fingerprint(each) for each in scripts) or repr('none')}; "
        f"style-src {' '.join(fingerprint(each) for each in styles)}; "
        "base-uri 'none'; form-action 'none'"
    )


def script_json(data: object) -> str:
    """Return data so that it can stand within a script element, whatever texts it holds.

    As JSON without a sign that HTML knows.
    """
    text = json.dumps(data, sort_keys=True, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def packed_json(data: object) -> str:
    """Return data as JSON that gzip packed, in letters and digits: a sixth of what charts' data take as they are.

    A page unpacks it in some milliseconds.
    """
    text = json.dumps(data, sort_keys=True, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return b64encode(gzip.compress(text.encode(), mtime=0)).decode()


def part(path: str) -> str:
    """Return the text of a style sheet or script, by its path within this package."""
    return files("reports").joinpath(path).read_text(encoding="utf-8").replace("\r\n", "\n")


def environment(folder: str = "templates") -> Environment:
    """Return the environment that fills the templates of a folder.

    Every text of a cell is escaped, and a name that is not given is a mistake.
    """
    made = Environment(
        loader=PackageLoader("reports", folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["visible"] = visible
    return made
