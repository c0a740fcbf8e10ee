-- Which flush did each unit last show pins of, up to the as-of date?
-- A blank flush is one after the highest picked before that day. Pins seen on a batch as a whole hold for its units.
-- Grain: one row per observation of pins and unit that it concerns.
create or replace temp table unit_pins as
with seen as (
    select batch_line, filling_line, seen_on, flush
    from observation_places
    where event = 'pins' and seen_on <= getvariable('as_of')
),
concerned as (
    select u.unit, s.seen_on, s.flush
    from seen as s
    inner join units as u on u.unit = s.filling_line
    union all
    select u.unit, s.seen_on, s.flush
    from seen as s
    inner join units as u on u.unit = s.batch_line
    union all
    select u.unit, s.seen_on, s.flush
    from seen as s
    inner join units as u on u.batch_line = s.batch_line and u.container is not null
    where s.filling_line is null
),
picked_days as (
    -- A whole batch is picked when any of its pickings is.
    select batch_line as unit, picked_on, flush from harvest_places
    union all
    select filling_line, picked_on, flush from harvest_places where filling_line is not null
),
picked_before as (
    select c.unit, c.seen_on, max(d.flush) as flush
    from concerned as c
    inner join picked_days as d on d.unit = c.unit and d.picked_on < c.seen_on
    where c.flush is null
    group by c.unit, c.seen_on
)
select c.unit, c.seen_on, coalesce(c.flush, p.flush + 1, 1) as flush
from concerned as c
left join picked_before as p on p.unit = c.unit and p.seen_on = c.seen_on
