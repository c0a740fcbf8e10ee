-- What became of the rows of each file, and how does the file stand?
-- Grain: one row per file and input table.
-- reads: files, row_counts
-- writes: nothing
select r.table_name, r.file, r.rows_in, r.loaded, r.set_aside, r.waiting, r.blank, f.status, f.content_hash
from row_counts as r
inner join files as f on f.table_name = r.table_name and f.file = r.file
order by r.table_name, r.file
