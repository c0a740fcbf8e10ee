"""Entries that gillbook wrote and that no file holds any more: another program saved an old copy over them, or they
were deleted. They are found by the journal alone, whether a refresh ever saw them or not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from pipeline.farm.folder import Farm, TableFile, table_files
from pipeline.logbook.amounts import rounded, written
from pipeline.logbook.entry_ids import ids_in
from pipeline.logbook.journal import TAIL, JournalEntry, read_journal, record_named
from pipeline.logbook.row_words import row_words
from pipeline.logbook.text_table import TextTable, read_text_table
from schemas.contract import BATCHES, BOOKS, FILLINGS, HARVESTS, OBSERVATIONS, PROMISES, SALES, contract
from schemas.finding import Finding, UnreadableFile
from schemas.phrases import counted

# So many are named one by one in a sentence: our choice, no source.
NAMED = 5
PUT_BACK, MEANT = "gillbook lost --put-back", "gillbook lost --meant"
# By what a row is known that has no entry id.
KEYS: Mapping[str, Sequence[str]] = {
    BATCHES: contract(BATCHES).primary_key,
    FILLINGS: contract(FILLINGS).primary_key,
    OBSERVATIONS: ("seen_on", "event", "container", "batch"),
    HARVESTS: ("picked_on", "fresh_weight_g", "container", "batch"),
    SALES: ("sold_on", "weight_g", "buyer", "kind"),
    PROMISES: ("due_on", "weight_g", "buyer", "strain"),
}
Value = date | Decimal | int | str


def lost_entries(farm: Farm) -> list[JournalEntry]:
    """Return the entries that were said to be on disk, and that neither were taken back nor stand in any file."""
    return _nowhere(farm, _not_where_written(farm, read_journal(farm).acknowledged))


def lost_lately(farm: Farm, file: str) -> list[JournalEntry]:
    """Return those of the last entries of this file that are lost, each once: for a command that must be quick."""
    last = read_journal(farm, TAIL)
    of_file = [each for each in last.acknowledged if each.file == file and each.entry not in last.named]
    lost = _nowhere(farm, _not_where_written(farm, of_file))
    if lost:
        record_named(farm, lost)
    return lost


def _not_where_written(farm: Farm, entries: Sequence[JournalEntry]) -> list[JournalEntry]:
    """Return those that are not in the file that they were written to. A quick look, without reading its cells."""
    found = []
    for name in dict.fromkeys(each.file for each in entries):
        try:
            data = (farm.folder / name).read_bytes()
        except OSError:
            data = b""
        ids, lines = ids_in(data), set(data.splitlines())
        of_file = (each for each in entries if each.file == name)
        found += [each for each in of_file if each.entry not in ids and each.line.strip().encode() not in lines]
    return found


def _nowhere(farm: Farm, missing: Sequence[JournalEntry]) -> list[JournalEntry]:
    """Return those that no file holds: neither under their id nor, in rows without one, with the same cells."""
    missing = [each for each in missing if _readable(each)]
    if not missing:
        return []
    tables = {each.table for each in missing}
    ids: set[str] = set()
    without_id: Counter[tuple[str, ...]] = Counter()
    for table, found in _tables_that_count(farm, tables):
        for row in found.rows:
            entry = found.cell(row, "entry")
            ids.add(entry)
            if not entry:
                without_id[_key(table, row_values(farm, table, found, row))] += 1
    lost = []
    for each in (each for each in missing if each.entry not in ids):
        key = _key(each.table, typed_values(each))
        if not without_id[key]:
            lost.append(each)
        elif not contract(each.table).primary_key:
            without_id[key] -= 1
    return lost


def equal_rows(farm: Farm, lost: Sequence[JournalEntry]) -> Iterator[str]:
    """Yield a doubt for each of these entries whose like stands in a file: it may have been entered anew."""
    there = {
        _key(table, row_values(farm, table, found, row))
        for table, found in _tables_that_count(farm, {each.table for each in lost})
        for row in found.rows
    }
    for each in lost:
        if _key(each.table, typed_values(each)) in there:
            yield f"{entry_words(farm, each)} stands in a file, entered anew or twice from the beginning"


def _tables_that_count(farm: Farm, tables: Iterable[str]) -> Iterator[tuple[str, TextTable]]:
    """Yield what the files of these tables hold; of those that are gone or cannot be read, their copies; and what was
    given up on purpose.
    """
    from pipeline.ledger.backups import backup_copies, backup_folder, copy_file

    copies = backup_copies(farm)
    there = {(each.table, each.name): each for each in table_files(farm.folder, farm.conventions.files)}
    for key in (key for key in {**copies, **there} if key[0] in tables):
        found = _read(farm, there[key]) if key in there else None
        if found is None and key in copies:
            found = _read(farm, copy_file(farm, key, copies[key], copies))
        if found is not None:
            yield key[0], found
    for table in tables:
        inside = backup_folder(farm) / "forgotten" / table
        for path in sorted(inside.rglob("*")) if inside.is_dir() else ():
            found = _read(farm, TableFile(table, path.relative_to(inside).as_posix(), path)) if path.is_file() else None
            if found is not None:
                yield table, found


def _read(farm: Farm, source: TableFile) -> TextTable | None:
    try:
        return read_text_table(source, source.path.read_bytes(), farm.conventions)
    except (OSError, UnreadableFile):
        return None


def row_values(farm: Farm, table: str, found: TextTable, row: Sequence[str]) -> dict[str, Value]:
    """Return the values of the key's cells of a row, in the contract's unit."""
    from pipeline.logbook.known_rows import value_of

    named = {name: found.cell(row, name) for name in KEYS[table]}
    values = {name: value_of(farm, table, found.units, name, cell) for name, cell in named.items()}
    return {name: value for name, value in values.items() if value is not None}


def typed_values(entry: JournalEntry) -> dict[str, Value]:
    """Return the values of an entry as they were before they were written: days, numbers and texts."""
    kinds = {each.name: each.type for each in contract(entry.table).fields}
    kind: dict[str, type[int] | type[Decimal]] = {"integer": int, "number": Decimal}
    return {
        name: date.fromisoformat(text) if kinds[name] == "date" else kind.get(kinds[name], str)(text)
        for name, text in entry.values.items()
    }


def _readable(entry: JournalEntry) -> bool:
    """Whether the values of an entry are such as gillbook writes: not where the journal was changed."""
    try:
        return bool(entry.table) and bool(typed_values(entry))
    except (ValueError, KeyError, ArithmeticError):
        return False


def _key(table: str, values: Mapping[str, Value]) -> tuple[str, ...]:
    cells = (values.get(name, "") for name in KEYS[table])
    return (table, *(f"{rounded(each, 3):f}" if isinstance(each, Decimal) else str(each).casefold() for each in cells))


def entry_words(farm: Farm, entry: JournalEntry) -> str:
    """Return in a few words what an entry says: "8, 2026-02-03: 411 g"."""
    values = typed_values(entry)
    batch, container = values.get("batch", ""), values.get("container", "")
    if entry.table == BATCHES:
        return f"batch {batch}"
    if entry.table in BOOKS:
        return row_words(entry.values)
    if entry.table == FILLINGS:
        return f"{container} filled from batch {batch}"
    weight = values.get("fresh_weight_g")
    grams = f"{written(rounded(weight, 3), farm.conventions.cell_format)} g" if isinstance(weight, Decimal) else ""
    day = values.get("picked_on") or values.get("seen_on", "")
    return f"{container or f'batch {batch}'}, {day}: {values.get('event') or grams}"


def entries_words(farm: Farm, entries: Iterable[JournalEntry]) -> str:
    """Return what several entries say, one behind the other."""
    return "; ".join(entry_words(farm, each) for each in entries)


def lost_message(farm: Farm, lost: Sequence[JournalEntry]) -> str:
    """Return what every command says of them until it is answered, in one sentence and two commands."""
    shown = "; ".join(f"{entry_words(farm, each)} ({each.file})" for each in lost[:NAMED])
    more = f"; and {len(lost) - NAMED} more" if len(lost) > NAMED else ""
    are = "is" if len(lost) == 1 else "are"
    return (
        f"{counted(len(lost), 'entry', 'entries')} that gillbook wrote {are} in no file any more: {shown}{more}. "
        f"Did another program save over {'it' if len(lost) == 1 else 'them'}? Put back: {PUT_BACK}. "
        f"Meant to be gone: {MEANT}"
    )


def lost_findings(farm: Farm, lost: Sequence[JournalEntry]) -> list[Finding]:
    """Return a finding for each of them."""
    found = Finding("", "", 0, "", "lost_entry", "lost", None, "", "the row that was written", "")
    return [
        replace(
            found,
            table=each.table,
            file=each.file,
            value=each.entry,
            message=f"is in no file any more ({entry_words(farm, each)}), entered {each.at[:16].replace('T', ' ')}",
            fix=f"Put it back: {PUT_BACK} {each.entry}; or, if it is meant to be gone: {MEANT} {each.entry}",
        )
        for each in lost
    ]
