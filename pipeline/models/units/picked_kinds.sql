-- When was each picking, of which batch, and in which kind of container? kind: as in unit_kinds, or that of the container
-- that the picking names. Fresh mass in g.
-- Grain: one row per picking of a unit up to the as-of date.
-- reads: fillings, harvest_assignments, unit_kinds, unit_pickings
-- writes: picked_kinds
create or replace temp view picked_kinds as
select
    p.picked_on,
    h.batch_line,
    case when h.filling_line is null then k.kind else coalesce(lower(f.kind), '') end as kind,
    p.fresh_weight_g
from unit_pickings as p
inner join harvest_assignments as h on h.line = p.line
inner join unit_kinds as k on k.unit = p.unit
left join fillings as f on f.line = h.filling_line
