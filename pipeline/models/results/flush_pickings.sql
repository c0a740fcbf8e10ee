-- What did each flush give of each unit, at which ages was it first and last picked, and when was it known to be over by
-- itself? Ages in days, mass in g; settled_age: flush_settled_days after its last picking, null where that is to come.
-- Grain: one row per unit of a dated batch and flush picked.
-- reads: unit_flushes, unit_starts
-- writes: nothing
select
    f.unit,
    f.flush,
    f.fresh_g,
    f.first_day - s.inoculated_on as first_age,
    f.last_day - s.inoculated_on as last_age,
    case when f.settled_on <= getvariable('as_of') then f.settled_on - s.inoculated_on end as settled_age
from unit_flushes as f
inner join unit_starts as s on s.unit = f.unit
order by f.flush, f.unit
