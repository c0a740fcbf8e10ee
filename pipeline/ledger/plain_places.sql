-- Where do the pickings and observations belong that leave no doubt: those that name a loaded filling by batch and
-- container, or a container alone whose filling of that day is loaded? The others are looked at in placed.sql.
-- early: before the inoculation.
-- Grain: one row per such staged picking or observation that is not faulty.
create or replace temp table plain_places as
with events as (
    select line, picked_on as day, batch, container from stage_harvests where not faulty and container is not null
    union all
    select line, seen_on, batch, container from stage_observations where not faulty and container is not null
),
days as (
    select container, day, line, batch_line
    from filling_days
    where day is not null and container not in (select container from filling_days where day is null)
),
alone as (
    select e.line, d.batch_line, d.line as filling_line
    from events as e
    asof join days as d on d.container = e.container and e.day > d.day
    where e.batch is null
)
select e.line, f.batch_line, f.line as filling_line, coalesce(e.day < f.inoculated_on, false) as early
from events as e
inner join fillings as f on f.container = e.container and f.batch = e.batch
union all
select line, batch_line, filling_line, false
from alone
where filling_line is not null
