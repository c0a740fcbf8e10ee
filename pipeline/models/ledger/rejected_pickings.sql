-- Which pickings that are set aside or waiting would belong to a loaded filling or batch? filling_line null: only the
-- batch is known.
-- Grain: one row per such picking.
-- reads: clear_harvests, fallback, loaded_fillings, repeats, resolved, stage_harvests
-- writes: rejected_pickings
create or replace table rejected_pickings as
with rejected as (
    -- What is not loaded is faulty, early, without its place, or a repeat (which clear_harvests still holds, if clear).
    select line, picked_on, container
    from stage_harvests
    where line in (
        select line from resolved where faulty or early
        union all
        select line from fallback where batch_line is null or early
        union all
        select line from repeats
    )
),
only_filling as (
    select container, min(line) as line, min(batch_line) as batch_line from loaded_fillings group by container having count(*) = 1
)
select
    a.line,
    a.picked_on,
    coalesce(c.batch_line, q.batch_line, o.batch_line, p.near_line) as batch_line,
    coalesce(c.filling_line, q.filling_line, p.filling_line, o.line) as filling_line
from rejected as a
left join clear_harvests as c on c.line = a.line
left join resolved as q on q.line = a.line
left join fallback as p on p.line = a.line
left join only_filling as o on a.picked_on is null and p.outcome = 'unknown' and o.container = a.container
where coalesce(c.batch_line, q.batch_line, o.batch_line, p.near_line) is not null
