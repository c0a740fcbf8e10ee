-- Which flush did each unit show pins of, up to the as-of date? A blank flush is one after the highest picked before
-- that day.
-- Grain: one row per observation of pins and unit that it concerns.
-- reads: harvest_assignments, unit_seen
-- writes: unit_pins
create or replace temp table unit_pins as
with pins as (
    select unit, seen_on, flush from unit_seen where event = 'pins'
),
picked_days as (
    -- A whole batch is picked when any of its containers is.
    select batch_line as unit, picked_on, flush from harvest_assignments
    union all
    select filling_line, picked_on, flush from harvest_assignments where filling_line is not null
),
picked_before as (
    select p.unit, p.seen_on, max(d.flush) as flush
    from pins as p
    inner join picked_days as d on d.unit = p.unit and d.picked_on < p.seen_on
    where p.flush is null
    group by p.unit, p.seen_on
)
select p.unit, p.seen_on, coalesce(p.flush, b.flush + 1, 1) as flush
from pins as p
left join picked_before as b on b.unit = p.unit and b.seen_on = p.seen_on
