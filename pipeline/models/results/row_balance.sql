-- Do the rows of each file add up? row is 0: the file as a whole.
-- Grain: one row per file and input table.
-- reads: row_counts
-- writes: nothing
select
    file,
    0 as row,
    rows_in::double as rows_in,
    (loaded + set_aside + waiting + blank)::double as accounted_for
from row_counts
order by file
