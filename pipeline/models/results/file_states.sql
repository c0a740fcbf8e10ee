-- How does each file stand, with which content, what is wrong with it, and how many rows has it?
-- Grain: one row per file and input table.
-- reads: files
-- writes: nothing
select table_name, file, content_hash, status, problem, rows_in, rows_blank
from files
order by table_name, file
