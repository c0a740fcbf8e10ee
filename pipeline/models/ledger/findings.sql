-- Everything found in the rows: on cells and on whole rows, in one list with the level that the contract gives.
-- Grain: one row per finding.
-- reads: cell_findings, row_findings, row_rules, warn_harvests, warn_masses, warn_observations, warn_soaks
-- writes: findings
create or replace table findings as
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
select table_name, file, row, column_name, rule, level, value, null::varchar as detail,
    null::varchar as waits_file, null::integer as waits_row
from cell_findings
union all
select f.table_name, f.file, f.row, r.column_name, f.rule, r.level, f.value, f.detail, f.waits_file, f.waits_row
from of_rows as f
inner join row_rules as r on r.table_name = f.table_name and r.rule = f.rule
