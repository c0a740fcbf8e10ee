-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to? Mass in g.
-- Grain: one row per loaded picking. The view `harvests` shows it with all its cells.
create or replace table harvest_places as
select
    p.line,
    p.batch_line,
    p.filling_line,
    p.day as picked_on,
    p.fresh_weight_g,
    coalesce(p.flush, d.flush) as flush
from places as p
left join derived_flushes as d
    on p.flush is null
    and d.place_line = p.place_line
    and d.day = p.day
where p.fresh_weight_g is not null and p.line not in (select line from repeats)
