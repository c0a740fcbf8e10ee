-- How does each unit stand to its pins, in which group and out of which soak? Days in days.
-- Grain: one row per unit of a dated batch.
-- reads: unit_groups, unit_pinning
-- writes: nothing
select p.unit, g.group_id, p.batch_line, p.soak_no, p.fate, p.days
from unit_pinning as p
inner join unit_groups as g on g.unit = p.unit
order by p.unit
