-- Tells the part, in memory, which files there are.
-- Grain: one row per file and input table.
-- reads: files
-- writes: files
insert into memory.files
select f.table_name, f.file, f.file_part, f.content_hash, f.rows_in, f.rows_blank, f.status, f.problem
from draft.files as f
