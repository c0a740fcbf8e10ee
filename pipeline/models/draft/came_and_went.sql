-- How many rows came, went, or went to other files of their table with a refresh?
-- Grain: one row per file that may have changed.
-- reads: row_versions
-- writes: nothing
with deltas as (
    select table_name, file, cells, sum(side) as delta from row_versions group by table_name, file, cells
),
came as (
    select table_name, cells, sum(delta) as times from deltas where delta > 0 group by table_name, cells
)
select
    deltas.table_name,
    deltas.file,
    sum(greatest(deltas.delta, 0))::bigint as added,
    sum(greatest(-deltas.delta, 0))::bigint as gone,
    sum(least(greatest(-deltas.delta, 0), coalesce(came.times, 0)))::bigint as moved
from deltas
left join came on came.table_name = deltas.table_name and came.cells = deltas.cells
group by deltas.table_name, deltas.file
