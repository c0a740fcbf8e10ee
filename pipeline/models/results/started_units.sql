-- Which units with a known number of containers were started, and how old (days) are they?
-- Grain: one row per such unit of a dated batch.
-- reads: unit_starts
-- writes: nothing
select unit, group_id, soak_no, age, containers
from unit_starts
where containers > 0
order by unit
