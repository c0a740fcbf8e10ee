-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to that is not clear
-- at once? Mass in g. derived: its flush cell is blank.
-- Grain: one row per loaded picking that is not in clear_harvests.
-- reads: derived_flushes, repeats, resolved_assignments
-- writes: resolved_harvests
create or replace table resolved_harvests as
select
    p.line,
    p.batch_line,
    p.filling_line,
    p.day as picked_on,
    p.fresh_weight_g,
    coalesce(p.flush, d.flush) as flush,
    p.flush is null as derived
from resolved_assignments as p
anti join repeats as r on r.line = p.line
left join derived_flushes as d on d.place_line = p.place_line and d.day = p.day
where p.fresh_weight_g is not null
