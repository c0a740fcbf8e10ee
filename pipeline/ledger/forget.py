"""Giving up a file that is gone or cannot be read: its rows go, its copy is moved away."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path, PurePath, PureWindowsPath

from pipeline.farm.folder import Farm, TableFile
from pipeline.ledger.backups import Key, copy_path, give_up_copy, given_up, note_given_up
from pipeline.ledger.intake import Sources, take_in
from pipeline.ledger.lock import locked
from pipeline.ledger.refresh import farm_files
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import did_you_mean


@dataclass(frozen=True)
class Forgotten:
    """A file given up: where its copies are now, within the farm folder, and whether the file itself is still there."""

    file: str
    copies: list[str]
    still_there: bool


def forget(farm: Farm, name: str, now: str) -> Forgotten:
    """Give up the file that is meant by `name`, whichever tables it holds. The next refresh takes its rows out.

    `now` is shown to others while the lock is held. Raises WrongRequest for a file that is not known, or read well.
    """
    with locked(farm.folder / "ledger.lock", now):
        present, copies = farm_files(farm)
        file = _meant(farm, name, sorted({name for _, name in {**present, **copies}}))
        gone = {key for key in copies if key[1] == file and key not in present}
        broken = {key for key, source in present.items() if key[1] == file and not _reads_well(farm, source)}
        _refuse(farm, file, gone, broken)
        try:
            moved = [give_up_copy(farm, key) for key in sorted(gone | broken)]
            note_given_up(farm, given_up(farm) | broken)
        except OSError as problem:
            raise OutOfReach(f"The copy of {file} cannot be moved ({problem.strerror}). It is as it was.") from problem
    return Forgotten(file, [each.relative_to(farm.folder).as_posix() for each in moved if each], bool(broken))


def _meant(farm: Farm, name: str, known: list[str]) -> str:
    """The file that is meant, by its path within the farm folder or from where the grower is."""
    parts = PureWindowsPath(name) if "\\" in name and name not in known else PurePath(name)
    names = [parts.as_posix()]
    with_place = Path(name).absolute()
    if with_place.is_relative_to(farm.folder.absolute()):
        names.append(with_place.relative_to(farm.folder.absolute()).as_posix())
    found = next((name for name in names if name in known), None)
    if found is None:
        hint = did_you_mean(name, known) or f" There are {', '.join(known) or 'none'}."
        raise WrongRequest(f"forget {name}: there is no such file, nor a copy of one.{hint}")
    return found


def _reads_well(farm: Farm, source: TableFile) -> bool:
    sources = Sources([source], frozenset(), {}, frozenset())
    (taken,) = take_in(farm, sources)
    return not taken.problems and not taken.reasons


def _refuse(farm: Farm, file: str, gone: set[Key], broken: set[Key]) -> None:
    if not gone and not broken:
        raise WrongRequest(
            f"{file} stands in the folder and is read well: there is nothing to give up. "
            "To take its rows out, first move it out of the folder."
        )
    if not gone and broken <= given_up(farm) and not any(copy_path(farm, key).exists() for key in broken):
        raise WrongRequest(f"{file} is given up already. Mend it, or take it out of the folder.")
