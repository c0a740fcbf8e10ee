"""The report as a PDF: its content, with its charts drawn, set by the typesetting library, which is an extra."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from importlib.util import find_spec
from tempfile import TemporaryDirectory

from schemas.finding import OutOfReach

HOW_TO_GET_IT = (
    "--format pdf needs the typesetting library, which is not installed here. Install gillbook with it "
    "(gillbook[pdf] in place of gillbook), or print the page from a browser: it is four pages, too."
)


def can_typeset() -> None:
    """Raise OutOfReach, which says how to get it, where the typesetting library is not installed."""
    if find_spec("typst") is None:
        raise OutOfReach(HOW_TO_GET_IT)


def typeset(content: Mapping[str, object], template: str, as_of: date) -> bytes:
    """Return the PDF of this content, tagged for screen readers (PDF/UA-1): the same bytes for the same content.

    The template sees the content as data alone. Its root is an empty folder and no font of the computer is looked at,
    so that nothing is read. Raises OutOfReach where the library is not installed.
    """
    can_typeset()
    import typst

    handed_over = json.dumps(drawn(content), ensure_ascii=True, sort_keys=True, allow_nan=False)
    with TemporaryDirectory() as empty:
        compiler = typst.Compiler(
            input=template.encode(),
            root=empty,
            ignore_system_fonts=True,
            sys_inputs={"report": handed_over},
            package_path=empty,
            package_cache_path=empty,
        )
        made = compiler.compile(format="pdf", pdf_standards=["ua-1"], timestamp=datetime.combine(as_of, time(), UTC))
    if not isinstance(made, bytes):
        raise TypeError("one PDF was expected")
    return made


def drawn(each: object) -> object:
    """Return the content with an `svg` beside each `spec` of a chart, in place of it."""
    if isinstance(each, Mapping):
        rest = {key: drawn(value) for key, value in each.items() if key != "spec"}
        return {**rest, "svg": svg(each["spec"])} if "spec" in each else rest
    return [drawn(value) for value in each] if isinstance(each, list) else each


def svg(spec: object) -> str:
    """Draw a chart. It reaches no address: none is allowed."""
    import vl_convert

    made: str = vl_convert.vegalite_to_svg(json.dumps(spec), allowed_base_urls=[])
    return made
