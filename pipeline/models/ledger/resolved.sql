-- Which filling does each picking and observation belong to that is not clear at once: one that is faulty, before its
-- inoculation or without a flush; or that names a container alone, whose filling of that day is to be found? Those without a
-- filling_line here are looked at again in fallback.sql. early: before the inoculation. Mass in g. batch, container:
-- what a row without a filling names.
-- Grain: one row per staged picking or observation that is not clear (clear_harvests.sql, clear_observations.sql).
-- reads: clear_harvests, clear_observations, filling_days, loaded_fillings, stage_harvests, stage_observations
-- writes: resolved
create or replace temp table resolved as
with lines as materialized (
    -- First the lines alone: quicker than to join rows of which most are clear.
    select s.line from stage_harvests as s anti join clear_harvests as c on c.line = s.line
    union all
    select s.line from stage_observations as s anti join clear_observations as c on c.line = s.line
),
unclear as materialized (
    select s.line, s.picked_on as day, s.batch, s.container, s.faulty, s.fresh_weight_g, s.flush
    from stage_harvests as s
    where s.line in (select line from lines)
    union all
    select s.line, s.seen_on, s.batch, s.container, s.faulty, null, s.flush
    from stage_observations as s
    where s.line in (select line from lines)
),
days as (
    select container, day, line, batch_line
    from filling_days
    where day is not null and container not in (select container from filling_days where day is null)
),
latest as (
    -- Quicker than an asof join, which sorts all fillings: a container has few of them.
    select u.line, max(d.day) as day
    from unclear as u
    inner join days as d on d.container = u.container and d.day < u.day
    where u.batch is null
    group by u.line
),
alone as (
    select u.line, u.day, u.container, u.faulty, u.fresh_weight_g, u.flush, d.batch_line, d.line as filling_line
    from unclear as u
    left join latest as l on l.line = u.line
    left join days as d on d.container = u.container and d.day = l.day
    where u.batch is null
)
select u.line, u.day, u.faulty, u.fresh_weight_g, u.flush, f.batch_line, f.line as filling_line,
    coalesce(u.day < f.inoculated_on, false) as early,
    case when f.line is null then u.batch end as batch,
    case when f.line is null then u.container end as container
from unclear as u
left join loaded_fillings as f on f.container = u.container and f.batch = u.batch
where u.batch is not null
union all
select line, day, faulty, fresh_weight_g, flush,
    case when filling_line is not null then batch_line end, filling_line, false,
    null, case when filling_line is null then container end
from alone
