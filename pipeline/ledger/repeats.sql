-- Which rows repeat an earlier row in every cell? One aggregate finds the suspects; then only they are looked at.
-- Grain: one row per staged picking or observation that repeats an earlier one (by file and row).
create or replace temp table repeats as
with harvest_suspects as (
    select hash(picked_on, container, batch, fresh_weight_g) as suspect
    from stage_harvests
    where not faulty
    group by hash(picked_on, container, batch, fresh_weight_g)
    having count(*) > 1
),
observation_suspects as (
    select hash(seen_on, event, container, batch) as suspect
    from stage_observations
    where not faulty
    group by hash(seen_on, event, container, batch)
    having count(*) > 1
),
suspected as (
    select 'harvests' as table_name, line, file, row
    from stage_harvests
    where not faulty and hash(picked_on, container, batch, fresh_weight_g) in (select suspect from harvest_suspects)
    union all
    select 'observations', line, file, row
    from stage_observations
    where not faulty and hash(seen_on, event, container, batch) in (select suspect from observation_suspects)
),
copies as (
    select s.table_name, s.line, s.file, s.row, coalesce(h.cells, o.cells) as cells
    from suspected as s
    left join cells_of_harvests as h on s.table_name = 'harvests' and h.line = s.line
    left join cells_of_observations as o on s.table_name = 'observations' and o.line = s.line
)
select
    table_name,
    line,
    file,
    row,
    first_value(file || ', row ' || row) over (partition by table_name, cells order by file, row) as first_place
from copies
qualify row_number() over (partition by table_name, cells order by file, row) > 1
