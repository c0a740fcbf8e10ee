-- Everything found in the rows: on cells and on whole rows, in one list with the level that the contract gives.
-- Grain: one row per finding.
-- reads: cell_findings, found_in_books, found_in_farm, found_in_rows
-- writes: findings
create or replace view findings as
select table_name, file, row, column_name, rule, level, value, null::varchar as detail,
    null::varchar as waits_file, null::integer as waits_row
from cell_findings
union all
select table_name, file, row, column_name, rule, level, value, detail, null, null
from found_in_farm
union all
select table_name, file, row, column_name, rule, level, value, detail, null, null
from found_in_books
union all
select table_name, file, row, column_name, rule, level, value, detail, waits_file, waits_row
from found_in_rows
