-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to that is not clear
-- at once? Masses in g. derived: its flush cell is blank. stage_rank, culled_g: as in clear_harvests.
-- Grain: one row per loaded picking that is not in clear_harvests.
-- reads: derived_flushes, repeats, resolved_assignments, stage_harvests
-- writes: resolved_harvests
create or replace table resolved_harvests as
select
    p.line,
    p.batch_line,
    p.filling_line,
    p.day as picked_on,
    p.fresh_weight_g,
    coalesce(p.flush, d.flush) as flush,
    p.flush is null as derived,
    list_position(getvariable('cap_stages'), e.cap_stage)::utinyint as stage_rank,
    case when e.culled_g <= e.fresh_weight_g then e.culled_g end as culled_g
from resolved_assignments as p
inner join stage_harvests as e on e.line = p.line
anti join repeats as r on r.line = p.line
left join derived_flushes as d on d.place_line = p.place_line and d.day = p.day
where p.fresh_weight_g is not null
