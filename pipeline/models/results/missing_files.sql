-- Which files are not there to be read, why, and how many of their rows count? Of a file that holds several tables, the
-- one with the most rows comes first.
-- Grain: one row per such file and input table.
-- reads: files
-- writes: nothing
select table_name, file, status, problem, rows_in - rows_blank as rows
from files
where status <> 'present'
order by file, rows_in - rows_blank desc, table_name
