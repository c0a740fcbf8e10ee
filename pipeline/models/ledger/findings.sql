-- Everything found in the rows: on cells and on whole rows, in one list with the level that the contract gives.
-- Grain: one row per finding.
create or replace table findings as
select table_name, file, row, column_name, rule, level, value, null::varchar as detail,
    null::varchar as waits_file, null::integer as waits_row
from cell_findings
union all
select f.table_name, f.file, f.row, r.column_name, f.rule, r.level, f.value, f.detail, f.waits_file, f.waits_row
from row_findings as f
inner join row_rules as r on r.table_name = f.table_name and r.rule = f.rule
