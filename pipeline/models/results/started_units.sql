-- Which units with a known number of containers were started, and how old (days) are they?
-- Grain: one row per such unit of a dated batch.
-- reads: unit_groups, unit_starts
-- writes: nothing
select s.unit, g.group_id, s.soak_no, s.age, s.containers
from unit_starts as s
inner join unit_groups as g on g.unit = s.unit
where s.containers > 0
order by s.unit
