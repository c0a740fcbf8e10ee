-- Which filling (or batch as a whole: filling_line null) does each loaded picking belong to? Flush as given.
-- Grain: one row per loaded picking.
create or replace temp table picked as
with loaded as (
    select line, batch_line, filling_line
    from plain_places
    where not early and line not in (select line from repeats)
    union all
    select line, batch_line, filling_line
    from placed
    where batch_line is not null and not faulty and not early and line not in (select line from repeats)
)
select
    h.line,
    p.batch_line,
    p.filling_line,
    coalesce(p.filling_line, p.batch_line) as place_line,
    h.picked_on,
    h.fresh_weight_g,
    h.flush
from stage_harvests as h
inner join loaded as p on p.line = h.line
