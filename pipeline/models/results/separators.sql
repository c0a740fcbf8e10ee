-- Which files are separated by something else than commas, and by what? In words, like semicolons.
-- Grain: one row per separator.
-- reads: findings
-- writes: nothing
select
    value as separator,
    list(distinct file order by file) as files
from findings
where rule = 'separator'
group by value
order by value
