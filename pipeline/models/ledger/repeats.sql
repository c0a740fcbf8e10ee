-- Which rows repeat an earlier row in every cell?
-- Grain: one row per staged picking or observation that repeats an earlier one (by file and row).
-- reads: cells_of_harvests, cells_of_observations, doubles, fallback, files, resolved
-- writes: repeats
create or replace table repeats as
with suspected as (
    select line from doubles
    union all
    -- Of those without a place, or before their inoculation, there are few.
    select line from fallback where not faulty and (batch_line is null or early)
    union all
    select line from resolved where early and not faulty
),
copies as (
    select 'harvests' as table_name, c.line, c.cells
    from cells_of_harvests as c
    where c.line in (select line from suspected)
    union all
    select 'observations', c.line, c.cells
    from cells_of_observations as c
    where c.line in (select line from suspected)
),
doubled as (
    select table_name, cells from copies group by table_name, cells having count(*) > 1
),
numbered_copies as (
    select c.table_name, c.line, c.cells, f.file, row_of(c.line) as row
    from copies as c
    inner join doubled as d on d.table_name = c.table_name and d.cells = c.cells
    inner join files as f on f.file_part = file_part_of(c.line)
)
select
    table_name,
    line,
    file,
    row,
    first_value(file || ', row ' || row) over (partition by table_name, cells order by file, row) as first_place
from numbered_copies
qualify row_number() over (partition by table_name, cells order by file, row) > 1
