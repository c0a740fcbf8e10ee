-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to? Mass in g.
-- Grain: one row per loaded picking. The view `harvests` shows it with all its cells.
create or replace table harvest_places as
with loaded as not materialized (
    select line, batch_line, filling_line, place_line, day, fresh_weight_g, flush
    from places
    anti join repeats on repeats.line = places.line
    where fresh_weight_g is not null
)
select line, batch_line, filling_line, day as picked_on, fresh_weight_g, flush
from loaded
where flush is not null
union all
select l.line, l.batch_line, l.filling_line, l.day, l.fresh_weight_g, d.flush
from loaded as l
left join derived_flushes as d on d.place_line = l.place_line and d.day = l.day
where l.flush is null
