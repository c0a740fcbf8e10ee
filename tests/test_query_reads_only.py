"""`query` reads the ledger and nothing else: no file but the ledger is read, none is written, nothing is loaded or set.

Each attack is tried on a real ledger, beside files that would be worth having; what the folder holds is compared.
"""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest
from ledgers import THREE_TABLES, here

SECRET = "the secret of another file"
ONLY_THE_LEDGER = "query: only the ledger can be read, no other file or setting.\n"
ONE_SELECT = "query: one SELECT is allowed, and nothing else.\n"

# Of {f}, the farm folder; what is refused as no SELECT at all.
NO_SELECT = """
copy batches to '{f}/out.csv'
copy batches from '{f}/secret.csv'
explain analyze copy batches to '{f}/out.csv'
export database '{f}/out'
import database '{f}/out'
attach '{f}/secret.duckdb' as s
attach ':memory:' as m
detach ledger
use memory
install httpfs
force install json
load httpfs
load '{f}/x.duckdb_extension'
create table t as select 1
create temp table t as select 1
create or replace temp view batches as select 1
create macro m() as 1
create secret s (type s3)
drop table stage_harvests
alter table stage_harvests add column x int
insert into stage_harvests select * from stage_harvests
update stage_harvests set row = 1
delete from stage_harvests
merge into batches using batches as b on true when matched then delete
truncate stage_harvests
set threads = 1
set lock_configuration = false
set enable_external_access = true
reset threads
set variable a = 1
pragma database_list
pragma enable_profiling
call enable_logging(storage='file', storage_path='{f}/log')
call enable_profiling(save_location='{f}/profile.json')
checkpoint
vacuum
begin
prepare a as select 1
pivot batches on strain using count(*)
select 1; drop table stage_harvests
select 1; select 2
/* select */ delete from stage_harvests
"""
# What looks like a SELECT, and reaches for a file, a network, a setting, an extension or the environment.
REACHING = """
from read_csv('{f}/secret.csv')
from read_csv_auto(['{f}/secret.csv'])
from read_text('{f}/secret.csv')
from read_blob('{f}/sec*')
from glob('{f}/*')
from '{f}/secret.csv'
from sniff_csv('{f}/secret.csv')
from read_json('{f}/secret.csv')
from read_ndjson_objects('{f}/secret.csv')
from read_parquet('{f}/secret.csv')
from parquet_metadata('{f}/secret.csv')
from read_duckdb('{f}/secret.duckdb', table_name='t')
from read_text('/etc/passwd')
from '/etc/passwd'
from read_csv('/dev/stdin')
from read_text('{f}/ledger.duckdb.tmp/../secret.csv')
from read_text('{f}/ledger.duckdb/../secret.csv')
from query_table('{f}/secret.csv')
from query('copy batches to ''{f}/out.csv''')
from query('from read_text(''{f}/secret.csv'')')
select (select content from read_text('{f}/secret.csv'))
with x as materialized (from read_text('{f}/secret.csv')) from x
select * from batches where exists (from read_text('{f}/secret.csv'))
with x as (copy batches to '{f}/out.csv') select 1
with x as (copy batches to '{f}/secret.csv') select 1
with x as (copy batches to '{f}/ledger.duckdb' (format csv, use_tmp_file false)) select 1
with x as (copy batches to '{f}/ledger.duckdb.wal' (format csv)) select 1
with x as (copy batches to '{f}/ledger.duckdb.tmp/x.csv') select 1
with x as (copy batches to '{f}/ledger.duckdb.tmp' (format csv, per_thread_output true)) select 1
with x as (delete from stage_harvests returning *) from x
with x as (insert into files select * from files returning *) from x
with x as (create table t as select 1) select 1
from 'https://example.org/a.csv'
from 's3://bucket/a.parquet'
from sqlite_scan('{f}/secret.csv', 't')
from postgres_scan('a', 'b', 'c')
from read_xlsx('{f}/a.xlsx')
from st_read('{f}/secret.csv')
select getenv('HOME')
select load_extension('x')
from duckdb_secrets()
from which_secret('a', 's3')
from duckdb_extensions()
from enable_logging(storage='file', storage_path='{f}/log')
from enable_profiling(save_location='{f}/profile.json', format='json')
from add_grammar_extension('x')
from import_database('{f}')
from pandas_scan(1)
from con
from statements
select 1 into t
"""
# What reads the ledger alone, in whatever words.
READING = """
select count(*) as n from batches
from batches
table files
values (1)
show tables
describe harvests
summarize batches
with x as (select 1 as a) select * from x;
select * from (pivot (select 'grey' as strain, 1 as n) on strain in ('grey') using sum(n))
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("farm")
    for table, text in THREE_TABLES.items():
        more = ",strain,substrate" if table == "batches" else ""
        lines = [line + (more if at == 0 else more and ",grey,straw") for at, line in enumerate(text.splitlines())]
        (made / f"{table}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (made / "secret.csv").write_text(f"a\n{SECRET}\n", encoding="utf-8")
    with duckdb.connect(str(made / "secret.duckdb")) as con:
        con.execute(f"create table t as select '{SECRET}' as a")
    # Where DuckDB puts what memory does not hold: a crash may have left it there.
    (made / "ledger.duckdb.tmp").mkdir()
    assert here("refresh", "--farm", made).code == 0
    return made


def bytes_of(folder: Path) -> dict[str, bytes | None]:
    """All that lies in the folder and beneath it, but for the manifest, which the refresh before a query may renew."""
    there = (path for path in folder.rglob("*") if path.name != "ledger.manifest.json")
    return {str(path): path.read_bytes() if path.is_file() else None for path in there}


def tried(folder: Path, queries: str) -> list[tuple[str, str]]:
    """Tries each query, which must be refused, bring nothing out and leave all as it was; gives what was said."""
    before, told = bytes_of(folder), []
    for query in queries.strip().splitlines():
        said = here("query", query.format(f=folder), "--farm", folder)
        assert (said.code, said.out) == (2, ""), query
        assert SECRET not in said.err, query
        assert said.err.startswith("query: "), query
        assert bytes_of(folder) == before, query
        told.append((query, said.err))
    return told


def test_what_is_no_select_is_refused(folder: Path) -> None:
    assert [said for said in tried(folder, NO_SELECT) if said[1] != ONE_SELECT] == []


def test_a_select_reaches_no_file_no_network_no_setting_and_writes_nothing(folder: Path) -> None:
    told = dict(tried(folder, REACHING))
    # Of these DuckDB knows the function, and it is the lock that holds, not a missing extension or a slip in the SQL.
    locked = [query for query, said in told.items() if said == ONLY_THE_LEDGER]
    assert len(locked) >= 25
    assert {query for query in told if "read_text('{f}/secret" in query and "''" not in query} <= set(locked)
    assert {query for query in told if "ledger.duckdb.tmp" in query} <= set(locked)


def test_what_reads_the_ledger_alone_is_answered(folder: Path) -> None:
    before = bytes_of(folder)
    for query in READING.strip().splitlines():
        said = here("query", query, "--json", "--farm", folder)
        assert (said.code, said.err) == (0, ""), query
        assert said.json, query
    assert bytes_of(folder) == before


def test_a_query_that_is_no_text_is_told_so(folder: Path) -> None:
    # What a terminal hands over for a byte that is not UTF-8.
    said = here("query", "select '\udcff'", "--farm", folder)
    refused = "select '\\xff': this holds bytes that are no text (UTF-8). Type it anew, letter by letter.\n"
    assert (said.code, said.err) == (2, refused)
