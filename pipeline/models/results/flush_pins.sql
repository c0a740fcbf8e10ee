-- At which age (days) did each unit first show pins of each flush after the first?
-- Grain: one row per unit of a dated batch and flush of which pins are noted.
-- reads: unit_pins, unit_starts
-- writes: nothing
select p.unit, p.flush, min(p.seen_on - s.inoculated_on) as first_age
from unit_pins as p
inner join unit_starts as s on s.unit = p.unit
where p.flush > 1
group by p.unit, p.flush
order by p.unit, p.flush
