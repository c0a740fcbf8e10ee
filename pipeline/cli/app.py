"""The program `gillbook`: its commands, and what becomes of an error."""

from __future__ import annotations

import sys
from typing import Annotated, NoReturn

import typer

from pipeline.cli.commands import CommandsOnDemand, joined
from pipeline.cli.failures import crash, of_the_machine, unread_answer, what_stands
from pipeline.cli.farm_access import RUN
from pipeline.cli.interrupts import INTERRUPTED, Interrupts, stop_interrupted
from pipeline.cli.progress import show_progress
from pipeline.cli.show import USUAL_WIDTH, notify, screen_width
from pipeline.cli.streams import answer_failure, prepare_streams, refuse_no_text
from pipeline.files.deeds import DEEDS
from schemas.finding import CannotWork, DataNeedAttention, WrongRequest

app = typer.Typer(
    name="gillbook",
    cls=CommandsOnDemand,
    help="Harvest and yield analytics for oyster mushroom growers: weights in, biological efficiency out.",
    no_args_is_help=True,
    # Plain text: the same on every screen, in a pipe and in a log; and help need not wait for a library that draws.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "terminal_width": min(screen_width(), USUAL_WIDTH) - 2},
)


def _tell_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"gillbook {version('gillbook')}")
        raise typer.Exit


@app.callback()
def gillbook(
    verbose: Annotated[bool, typer.Option("--verbose", help="Tell steps and timings on stderr.")] = False,
    version: Annotated[  # noqa: ARG001  (its callback does the work)
        bool, typer.Option("--version", callback=_tell_version, is_eager=True, help="Tell the version and stop.")
    ] = False,
) -> None:
    """Harvest and yield analytics for oyster mushroom growers: weights in, biological efficiency out."""
    RUN.verbose = verbose


def run_commands(interrupts: Interrupts) -> None:
    """Run the program; every error becomes one clear message and an exit code.

    0: done; 1: rows to mend (check alone); 2: a wrong request; 3: the work could not be done; 130: Ctrl-C.
    """
    DEEDS.clear()
    prepare_streams()
    show_progress()
    interrupts.unwind()
    try:
        _run_commands(interrupts)
    except KeyboardInterrupt:
        stop_interrupted(what_stands() if DEEDS.steps else "")
    finally:
        interrupts.end_at_once()


def _run_commands(interrupts: Interrupts) -> None:
    try:
        for word in sys.argv[1:]:
            refuse_no_text("", word)
        app(args=joined(sys.argv[1:]), prog_name="gillbook")
    except WrongRequest as problem:
        _stop(str(problem), 2)
    except CannotWork as problem:
        if interrupts.pressed:
            raise KeyboardInterrupt from problem
        _stop(str(problem), 3)
    except DataNeedAttention as problem:
        _stop("\n".join(each.sentence() for each in problem.findings) + "\nNothing was refreshed.", 3)
    except SystemExit as ending:
        _end(ending, interrupts)
    except Exception as problem:
        if interrupts.pressed:
            raise KeyboardInterrupt from problem
        _stop(_failure(problem), 3)


def _end(ending: SystemExit, interrupts: Interrupts) -> NoReturn:
    # Typer ends with 1 when the reader of our output has gone (`| head`); but 1 is for `check` to say.
    if isinstance(ending.__context__, BrokenPipeError):
        if DEEDS.steps:
            notify(unread_answer(None))
        sys.exit(0)
    # A question that was interrupted ends with 1 as well.
    if isinstance(ending.__context__, typer.Abort):
        sys.exit(INTERRUPTED)
    # A session that Ctrl-C ends says what it came to, and is done.
    if interrupts.pressed and ending.code:
        raise KeyboardInterrupt from ending
    raise ending


def _failure(problem: Exception) -> str:
    """Return what is said of an error that no command foresaw."""
    if isinstance(problem, OSError):
        reason = answer_failure(problem)
        if reason is not None:
            return unread_answer(reason)
        said = of_the_machine(problem)
        if said is not None:
            return said
    return crash(problem)


def _stop(message: str, code: int) -> NoReturn:
    notify(message)
    sys.exit(code)
