-- How many rows wait for each row?
-- Grain: one row per row that is waited for.
-- reads: findings
-- writes: nothing
select waits_file, waits_row, count(*) as waiting
from findings
where waits_file is not null and waits_row is not null
group by waits_file, waits_row
