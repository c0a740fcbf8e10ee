-- Which filling (or batch as a whole: filling_line null) does each loaded observation belong to?
-- A container that is no filling of its batch stands as one (count 1) of it.
-- Grain: one row per loaded observation. The view `observations` shows it with all its cells.
create or replace table observation_places as
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
inner join places as p on p.line = o.line and p.fresh_weight_g is null
anti join repeats as r on r.line = o.line
