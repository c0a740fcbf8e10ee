-- How many rows, by their number in the file, count now and did not before a refresh (freed), or the other way round?
-- Grain: one row per file with such rows.
-- reads: held_before, held_rows
-- writes: nothing
select
    coalesce(b.table_name, a.table_name) as table_name,
    coalesce(b.file, a.file) as file,
    count(*) filter (where a.row is null) as freed,
    count(*) filter (where b.row is null) as held
from held_before as b
full join held_rows as a on a.table_name = b.table_name and a.file = b.file and a.row = b.row
where a.row is null or b.row is null
group by coalesce(b.table_name, a.table_name), coalesce(b.file, a.file)
