-- When was each picking, of which batch, and in which kind of container? kind: as in unit_kinds, or that of the container
-- that the picking names. Fresh mass in g.
-- Grain: one row per picking of a unit up to the as-of date.
-- reads: harvest_assignments, stage_fillings, unit_kinds, whole_units
-- writes: picked_kinds
create or replace temp view picked_kinds as
with kinds as (
    -- By the line of a filling; and of a batch that is weighed as a whole, for pickings that name no container.
    select line, coalesce(lower(kind), '') as kind from stage_fillings
    union all
    select k.unit, k.kind from unit_kinds as k inner join whole_units as w on w.batch_line = k.unit
)
select h.picked_on, h.batch_line, k.kind, h.fresh_weight_g
from harvest_assignments as h
inner join kinds as k on k.line = coalesce(h.filling_line, h.batch_line)
where h.picked_on <= getvariable('as_of')
