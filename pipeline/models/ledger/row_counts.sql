-- What became of the rows of each file? rows_in = loaded + set_aside + waiting + blank, always.
-- Grain: one row per file.
-- reads: batches, files, filling_shares, findings, harvest_assignments, observation_assignments, prices, promises, sales
-- writes: row_counts
create or replace table row_counts as
with waiting as (
    select table_name, file, count(distinct row) as rows from findings where level = 'waiting' group by table_name, file
),
rejected as (
    select table_name, file, count(distinct row) as rows from findings where level = 'set_aside' group by table_name, file
),
loaded as (
    -- The upper half of a row's line is its file's number.
    select file_part_of(line) as file_part, count(*) as rows
    from (
        select line from batches
        union all
        select line from filling_shares
        union all
        select line from observation_assignments
        union all
        select line from harvest_assignments
        union all
        select line from prices
        union all
        select line from sales
        union all
        select line from promises
    )
    group by file_part_of(line)
)
select
    files.table_name,
    files.file,
    files.rows_in,
    coalesce(loaded.rows, 0) as loaded,
    coalesce(rejected.rows, 0) as set_aside,
    coalesce(waiting.rows, 0) as waiting,
    files.rows_blank as blank
from files
left join loaded on loaded.file_part = files.file_part
left join rejected on rejected.table_name = files.table_name and rejected.file = files.file
left join waiting on waiting.table_name = files.table_name and waiting.file = files.file
order by files.table_name, files.file
