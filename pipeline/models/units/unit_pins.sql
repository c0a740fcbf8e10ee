-- Which flush did each unit show pins of, up to the as-of date? A blank flush is one after the highest picked before
-- that day.
-- Grain: one row per observation of pins and unit that it concerns.
-- reads: picked_flushes, unit_seen
-- writes: unit_pins
create or replace temp table unit_pins as
with pins as (
    select unit, seen_on, flush from unit_seen where event = 'pins'
),
picked as (
    -- A whole batch is picked when any of its containers is.
    select batch_line as unit, first_day, flush from picked_flushes
    union all
    select filling_line, first_day, flush from picked_flushes where filling_line is not null
),
picked_before as (
    select p.unit, p.seen_on, max(k.flush) as flush
    from pins as p
    inner join picked as k on k.unit = p.unit and k.first_day < p.seen_on
    where p.flush is null
    group by p.unit, p.seen_on
)
select p.unit, p.seen_on, coalesce(p.flush, b.flush + 1, 1) as flush
from pins as p
left join picked_before as b on b.unit = p.unit and b.seen_on = p.seen_on
