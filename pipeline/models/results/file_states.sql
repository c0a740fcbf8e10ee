-- How does each file stand, with which content, and what is wrong with it?
-- Grain: one row per file and input table.
-- reads: files
-- writes: nothing
select table_name, file, content_hash, status, problem
from files
order by table_name, file
