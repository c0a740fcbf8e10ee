-- Which filling (or batch as a whole: filling_line null) does each loaded observation belong to?
-- A container that is no filling of its batch stands as one (count 1) of it.
-- Grain: one row per loaded observation. The view `observations` shows it with all its cells.
delete from observation_places where line in (select line from repeats);

insert into observation_places
select
    o.line,
    p.batch_line,
    p.filling_line,
    o.seen_on,
    o.event,
    o.flush,
    o.cause,
    case when p.filling_line is null and o.container is not null then 1 else o.count end
from stage_observations as o
inner join unclear_places as p on p.line = o.line
where o.line not in (select line from repeats)
