"""What is said of a run that fails for another reason than its request: each sentence is built from what was done."""

from __future__ import annotations

import errno
from pathlib import Path

from pipeline.cli.farm_access import RUN
from pipeline.farm.links import is_own
from pipeline.files.deeds import DEEDS, SHOWN

# Errors of the machine, which no change of gillbook mends: rights, room, the disk, too many open files, odd paths.
OF_THE_MACHINE = frozenset(
    {errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.ENXIO}
    | {errno.EMFILE, errno.ENFILE, errno.ENOTDIR, errno.EISDIR, errno.ELOOP, errno.ENAMETOOLONG, errno.ENODEV}
    | {errno.EBADF, errno.ESTALE}
)
MENDED = {
    errno.EACCES: "Mend its rights.",
    errno.EPERM: "Mend its rights.",
    errno.EROFS: "It may only be read; name a folder that can be written to.",
    errno.ENOSPC: "Make room.",
    errno.EDQUOT: "Make room.",
    errno.EFBIG: "Make room.",
}


def what_stands() -> str:
    """Return what this run wrote, in a sentence or two; that the grower's files are as they were, where it is so."""
    steps, files = DEEDS.steps, [each for each in DEEDS.files if not _is_own(each)]
    if not steps and not files:
        return "Your files are as they were."
    shown = "; ".join(steps[-SHOWN:])
    before = f" (and {len(steps) - SHOWN} more before)" if len(steps) > SHOWN else ""
    more = f" and {len(files) - SHOWN} more" if len(files) > SHOWN else ""
    written = f"Written, and on disk: {shown}{before}." if steps else ""
    touched = f"Written: {', '.join(map(_name, files[:SHOWN]))}{more}." if files else ""
    return " ".join(filter(None, (written, touched)))


def _is_own(path: Path) -> bool:
    name = _name(path)
    return not Path(name).is_absolute() and is_own(name)


def _name(path: Path) -> str:
    """What the file is called: by its path within the farm folder, where it is in there."""
    for folder in (RUN.folder, RUN.folder and RUN.folder.resolve()):
        if folder and path.is_relative_to(folder):
            return path.relative_to(folder).as_posix()
    return str(path.absolute())


def unread_answer(reason: str | None) -> str:
    """Return what is said where the answer could not be shown. `reason`: None where its reader has gone."""
    if reason is None:
        return f"The reader of the answer has gone. {what_stands()}"
    return f"The answer could not be shown ({reason}). {what_stands()}"


def of_the_machine(problem: OSError) -> str | None:
    """Return what is said of an error of the machine; None of another."""
    if problem.errno not in OF_THE_MACHINE:
        return None
    where = f"{problem.filename}: " if problem.filename else ""
    mended = f" {MENDED[problem.errno]}" if problem.errno in MENDED else ""
    return f"{where}{problem.strerror or problem}.{mended} {what_stands()}"


def crash(problem: Exception) -> str:
    """Save the traceback of a mistake of gillbook's in out/crash.txt, and return one line that says so."""
    import traceback

    first = str(problem).splitlines()[0] if str(problem) else ""
    said = f"gillbook made a mistake: {type(problem).__name__}: {first}. {what_stands()}"
    folder = (RUN.folder or Path.cwd()) / "out"
    try:
        folder.mkdir(exist_ok=True)
        text = "".join(traceback.format_exception(problem))
        (folder / "crash.txt").write_text(text, encoding="utf-8", errors="backslashreplace")
    except OSError:
        return f"{said} The details could not be written."
    return f"{said} The details are in {folder / 'crash.txt'}"
