-- Which containers were filled more than once on one day, so that all but one of their fillings count as ended on it?
-- Grain: one row per such container.
-- reads: findings
-- writes: nothing
select distinct value as container
from findings
where rule = 'same_day_twice'
order by container
