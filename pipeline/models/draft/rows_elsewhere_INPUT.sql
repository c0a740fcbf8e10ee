-- How many rows has a file of INPUT that is gone, and how many of them do not stand, as often, in files that are there?
-- Grain: one row.
-- reads: cells_of_INPUT, files
-- writes: nothing
with mine as (
    select cells, count(*) as times from cells_of_INPUT where file_part_of(line) = $file_part group by cells
),
others as (
    select cells, count(*) as times
    from cells_of_INPUT
    where
        cells in (select cells from mine)
        and file_part_of(line) in (select file_part from files where status = 'present')
    group by cells
)
select
    coalesce(sum(mine.times), 0)::bigint as rows,
    coalesce(sum(greatest(mine.times - coalesce(others.times, 0), 0)), 0)::bigint as missing
from mine
left join others on others.cells = mine.cells
