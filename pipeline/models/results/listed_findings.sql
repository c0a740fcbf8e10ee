-- Everything found in the rows, and which row each that waits is waiting for.
-- Grain: one row per finding.
-- reads: findings
-- writes: nothing
select table_name, file, row, column_name, rule, level, value, detail, waits_file, waits_row
from findings
order by all
