-- Takes a file off the list of files.
-- Grain: one row.
-- reads: nothing
-- writes: files
delete from files
where table_name = $table_name and file = $file
