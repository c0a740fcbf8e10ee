-- As which types does the ledger hold its columns?
-- Grain: one row per column of a table or view.
-- reads: nothing
-- writes: nothing
select c.table_name, c.column_name, c.data_type
from duckdb_columns() as c
where not c.internal
