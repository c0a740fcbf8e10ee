-- What was found in whole rows by what they say and what belongs to them, with the level that the contract gives.
-- Grain: one row per finding.
-- reads: files, row_findings, row_rules, warn_harvests, warn_masses, warn_observations, warn_soaks
-- writes: found_in_rows
create or replace table found_in_rows as
with of_rows as (
    select table_name, file, row, rule, value, detail, waits_file, waits_row from row_findings
    union all
    select table_name, file, row, rule, value, detail, waits_file, waits_row from warn_harvests
    union all
    select table_name, file, row, rule, value, detail, waits_file, waits_row from warn_observations
    union all
    select table_name, file, row, rule, value, detail, waits_file, waits_row from warn_masses
    union all
    select table_name, file, row, rule, value, detail, waits_file, waits_row from warn_soaks
)
select
    (p.file_part << 32) + f.row::ubigint as line,
    f.table_name,
    f.file,
    f.row,
    r.column_name,
    f.rule,
    r.level,
    f.value,
    f.detail,
    f.waits_file,
    f.waits_row
from of_rows as f
inner join row_rules as r on r.table_name = f.table_name and r.rule = f.rule
inner join files as p on p.table_name = f.table_name and p.file = f.file
