-- Notes how a file stands, and what is wrong with it.
-- Grain: one row.
-- reads: nothing
-- writes: files
update files
set status = $status, problem = $problem
where table_name = $table_name and file = $file
