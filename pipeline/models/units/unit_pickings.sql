-- Which pickings does each unit have, up to the as-of date? Masses in g; stage_rank: 1 for the youngest cap stage;
-- derived: its flush cell is blank. What sums alone are wanted of stands in unit_flushes.
-- Grain: one row per loaded picking.
-- reads: harvest_assignments, whole_units
-- writes: unit_pickings
create or replace temp table unit_pickings as
select
    h.line,
    coalesce(w.batch_line, h.filling_line) as unit,
    h.picked_on,
    h.fresh_weight_g,
    h.flush,
    h.derived,
    h.filling_line is null as pooled,
    h.stage_rank,
    h.culled_g
from harvest_assignments as h
left join whole_units as w on w.batch_line = h.batch_line
where h.picked_on <= getvariable('as_of')
