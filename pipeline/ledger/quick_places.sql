-- Where do the pickings and observations belong that leave no doubt: those that name a loaded filling by batch and
-- container, or a container alone whose filling of that day is loaded? The others are looked at in placed.sql.
-- early: before the inoculation.
-- Grain: one row per such staged picking or observation that is not faulty.
create or replace temp table quick_places as
with events as (
    select 'harvests' as table_name, rowid as stage_row, picked_on as day, batch, container
    from stage_harvests
    where not faulty
    union all
    select 'observations', rowid, seen_on, batch, container
    from stage_observations
    where not faulty
),
alone as (
    select e.table_name, e.stage_row, e.container, d.batch, d.loaded
    from events as e
    asof join (select container, day, batch, loaded from filling_days where day is not null) as d
        on d.container = e.container and e.day > d.day
    where e.batch is null
)
select e.table_name, e.stage_row, f.batch, f.container, coalesce(e.day < f.inoculated_on, false) as early
from events as e
inner join fillings as f on f.batch = e.batch and f.container = e.container
union all
select table_name, stage_row, batch, container, false
from alone
where loaded and container not in (select container from filling_days where day is null)
