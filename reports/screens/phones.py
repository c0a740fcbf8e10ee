"""The pages about telephones: the code to scan, which are let in, and the door that one comes through."""

from __future__ import annotations

import io
from collections.abc import Sequence

import segno
from markupsafe import Markup

from reports.screens.screen import Screen


def devices(farm: str, address: str, known: Sequence[tuple[str, str, str]]) -> Screen:
    """Return the code of an invitation ("": this run invites none) and the telephones: name, since and until when."""
    drawn = io.BytesIO()
    if address:
        segno.make(address, micro=False).save(
            drawn, kind="svg", xmldecl=False, svgns=False, scale=6, border=4, dark="#000", light="#fff", title=""
        )
    code = Markup(drawn.getvalue().decode())
    return Screen("phones.html.j2", "Phones", farm, "/phones", {"code": code, "address": address, "known": known})


def join(token: str) -> Screen:
    """Return the door: a button that uses the invitation up."""
    return Screen("join.html.j2", "Weigh on this phone", "", "/join", {"token": token})
