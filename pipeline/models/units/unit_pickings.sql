-- Which pickings does each unit have, up to the as-of date? Masses in g; stage_rank: 1 for the youngest cap stage;
-- derived: its flush cell is blank.
-- Grain: one row per loaded picking.
-- reads: harvest_assignments, units
-- writes: unit_pickings
create or replace temp table unit_pickings as
select h.line, u.unit, h.picked_on, h.fresh_weight_g, h.flush, h.derived, h.filling_line is null as pooled, h.stage_rank,
    h.culled_g
from harvest_assignments as h
inner join units as u on u.unit = h.batch_line
where h.picked_on <= getvariable('as_of')
union all
select h.line, u.unit, h.picked_on, h.fresh_weight_g, h.flush, h.derived, false, h.stage_rank, h.culled_g
from harvest_assignments as h
inner join units as u on u.unit = h.filling_line
where h.picked_on <= getvariable('as_of')
