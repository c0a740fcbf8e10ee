-- Why were units closed without a picking?
-- Grain: one row per group and cause of loss.
-- reads: fates, unit_groups
-- writes: nothing
select g.group_id, f.cause, count(*) as lost
from unit_groups as g
inner join fates as f on f.unit = g.unit
where f.finished and not f.picked
group by g.group_id, f.cause
order by g.group_id, count(*) desc, f.cause
