-- Which rows repeat an earlier row in every cell? One aggregate finds the suspects; then only they are looked at.
-- Grain: one row per staged picking or observation that repeats an earlier one (by file and row).
create or replace temp table repeats as
with harvest_suspects as (
    select cells from stage_harvests where not faulty group by cells having count(*) > 1
),
observation_suspects as (
    select cells from stage_observations where not faulty group by cells having count(*) > 1
),
copies as (
    select 'harvests' as table_name, rowid as stage_row, file, row, cells
    from stage_harvests
    where not faulty and cells in (select cells from harvest_suspects)
    union all
    select 'observations', rowid, file, row, cells
    from stage_observations
    where not faulty and cells in (select cells from observation_suspects)
)
select
    table_name,
    stage_row,
    first_value(file || ', row ' || row) over (partition by table_name, cells order by file, row) as first_place
from copies
qualify row_number() over (partition by table_name, cells order by file, row) > 1
