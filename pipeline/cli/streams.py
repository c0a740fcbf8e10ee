"""The streams that a run reads and answers on: what was closed is opened, and what fails is found out."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import TextIO

import typer

from schemas.finding import WrongRequest


def prepare_streams() -> None:
    """Open the streams that the caller closed (`<&-`, `>&-`): the next file to be opened would get their number, and
    what a library prints would go into it. A closed output is opened for reading, so that an answer into it fails.
    """
    for number, mode in ((0, os.O_RDONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, mode)
    sys.stdin = sys.stdin or open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stdout = sys.stdout or open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = sys.stderr or open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    # A terminal that cannot show a letter shows its code, and bytes that are no text are seen to be none.
    for stream, errors in ((sys.stdin, "surrogateescape"), (sys.stdout, "backslashreplace")):
        with suppress(AttributeError):
            stream.reconfigure(errors=errors)  # type: ignore[union-attr]
    with suppress(AttributeError):
        sys.stderr.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]


def answer_failure(problem: OSError) -> str | None:
    """Return why the answer cannot be shown, where this error came of showing it; its stream is given up then."""
    from traceback import walk_tb

    if all(frame.f_code.co_name != typer.echo.__name__ for frame, _ in walk_tb(problem.__traceback__)):
        return None
    give_up(sys.stdout)
    return problem.strerror or str(problem)


def give_up(stream: TextIO) -> None:
    """Let what is left for this stream go nowhere, so that ending the program does not fail once more."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def refuse_no_text(where: str, text: str, fix: str = "Type it anew, letter by letter.") -> str:
    """Return this text. Raises WrongRequest where it holds bytes that are no text."""
    if text.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in text):
        return text
    shown = text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    raise WrongRequest(f"{where}{shown}: this holds bytes that are no text (UTF-8). {fix}")
