-- What became of the rows of each file? rows_in = loaded + set_aside + waiting + blank, always.
-- Grain: one row per file.
create or replace table row_counts as
with waiting as (
    select table_name, file, count(distinct row) as rows from findings where level = 'waiting' group by table_name, file
),
aside as (
    select table_name, file, count(distinct row) as rows from findings where level = 'set_aside' group by table_name, file
),
loaded as (
    select 'batches' as table_name, file, count(*) as rows from batches group by file
    union all
    select 'fillings', file, count(*) from fillings group by file
    union all
    select files.table_name, files.file, placed.rows
    from files
    inner join (
        select line >> 32 as file_part, count(*) as rows
        from (select line from observation_places union all select line from harvest_places)
        group by line >> 32
    ) as placed on placed.file_part = files.file_part
)
select
    files.table_name,
    files.file,
    files.rows_in,
    coalesce(loaded.rows, 0) as loaded,
    coalesce(aside.rows, 0) as set_aside,
    coalesce(waiting.rows, 0) as waiting,
    files.rows_blank as blank
from files
left join loaded on loaded.table_name = files.table_name and loaded.file = files.file
left join aside on aside.table_name = files.table_name and aside.file = files.file
left join waiting on waiting.table_name = files.table_name and waiting.file = files.file
order by files.table_name, files.file
