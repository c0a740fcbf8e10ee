-- How does each unit stand to each flush, and what did it give? Ages in days, masses in g.
-- Grain: one row per unit of a dated batch and flush.
-- reads: unit_groups, unit_resolutions, unit_starts
-- writes: nothing
select s.unit, g.group_id, s.soak_no, s.age, r.flush, r.resolved_age, r.fresh_g, r.fresh_g_first
from unit_starts as s
inner join unit_groups as g on g.unit = s.unit
inner join unit_resolutions as r on r.unit = s.unit
order by s.unit, r.flush
