-- What became of the units of each group: those whose loss is counted together. lost: ended without a picking.
-- Grain: one row per unit, or per filling where the groups are of fillings.
-- reads: fates, unit_groups
-- writes: group_members
create or replace temp view group_members as
select
    g.group_id as owner,
    f.soak_key,
    f.finished,
    f.picked,
    f.finished and not f.picked as lost,
    f.contaminated,
    f.contaminated_before_pick
from unit_groups as g
inner join fates as f on f.unit = g.unit
