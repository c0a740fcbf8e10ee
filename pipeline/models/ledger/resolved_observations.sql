-- Which filling (or batch as a whole: filling_line null) does each loaded observation belong to that is not clear at
-- once? A container that is no filling of its batch stands as one (count 1) of it.
-- Grain: one row per loaded observation that is not in clear_observations.
-- reads: repeats, resolved_assignments, stage_observations
-- writes: resolved_observations
create or replace table resolved_observations as
select
    o.line,
    p.batch_line,
    p.filling_line,
    o.seen_on,
    o.event,
    o.flush,
    o.cause,
    case when p.filling_line is null and o.container is not null then 1 else o.count end as count
from stage_observations as o
inner join resolved_assignments as p on p.line = o.line
anti join repeats as r on r.line = o.line
