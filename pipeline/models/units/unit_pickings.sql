-- Which pickings does each unit have, up to the as-of date? Masses in g; stage_rank: 1 for the youngest cap stage;
-- derived: its flush cell is blank.
-- Grain: one row per loaded picking.
-- reads: harvest_assignments, stage_harvests, units
-- writes: unit_pickings
create or replace temp table unit_pickings as
with fallback as (
    select h.line, u.unit, h.picked_on, h.fresh_weight_g, h.flush, h.derived, h.filling_line is null as pooled
    from harvest_assignments as h
    inner join units as u on u.unit = h.batch_line
    where h.picked_on <= getvariable('as_of')
    union all
    select h.line, u.unit, h.picked_on, h.fresh_weight_g, h.flush, h.derived, false
    from harvest_assignments as h
    inner join units as u on u.unit = h.filling_line
    where h.picked_on <= getvariable('as_of')
)
select
    p.line,
    p.unit,
    p.picked_on,
    p.fresh_weight_g,
    p.flush,
    p.derived,
    p.pooled,
    list_position(getvariable('cap_stages'), s.cap_stage) as stage_rank,
    case when s.culled_g <= s.fresh_weight_g then s.culled_g end as culled_g
from fallback as p
inner join stage_harvests as s on s.line = p.line
