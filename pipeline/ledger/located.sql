-- Which filling does each picking and observation belong to that leaves no doubt: one that names a loaded filling by
-- batch and container, or a container alone whose filling of that day is loaded? The others have no filling_line here
-- and are looked at again in placed.sql. early: before the inoculation. Mass in g.
-- batch, container: what a row without a filling names.
-- Grain: one row per staged picking or observation.
create or replace temp table located as
with events as not materialized (
    select line, picked_on as day, batch, container, faulty, fresh_weight_g, flush
    from stage_harvests
    union all
    select line, seen_on, batch, container, faulty, null, flush
    from stage_observations
),
days as (
    select container, day, line, batch_line
    from filling_days
    where day is not null and container not in (select container from filling_days where day is null)
),
alone as (
    select e.line, e.day, e.container, e.faulty, e.fresh_weight_g, e.flush, d.batch_line, d.line as filling_line
    from events as e
    asof left join days as d on d.container = e.container and e.day > d.day
    where e.batch is null
)
select e.line, e.day, e.faulty, e.fresh_weight_g, e.flush, f.batch_line, f.line as filling_line,
    coalesce(e.day < f.inoculated_on, false) as early,
    case when f.line is null then e.batch end as batch,
    case when f.line is null then e.container end as container
from events as e
left join fillings as f on f.container = e.container and f.batch = e.batch
where e.batch is not null
union all
select line, day, faulty, fresh_weight_g, flush,
    case when filling_line is not null then batch_line end, filling_line, false,
    null, case when filling_line is null then container end
from alone
