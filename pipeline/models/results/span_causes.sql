-- Why were units that finished in the days closed without a picking?
-- Grain: one row per cause of loss.
-- reads: unit_fates, unit_states
-- writes: nothing
select f.cause, count(*) as lost
from unit_fates as f
inner join unit_states as s on s.unit = f.unit
where f.finished
    and not f.picked
    and coalesce(s.closed_on, s.lapses_on) between getvariable('month_first') and getvariable('month_last')
group by f.cause
order by count(*) desc, f.cause
