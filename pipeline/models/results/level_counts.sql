-- How many findings are there of each level?
-- Grain: one row per level.
-- reads: findings
-- writes: nothing
select level, count(*) as findings
from findings
group by level
order by level
