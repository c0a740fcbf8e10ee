-- Which flush did each unit last show pins of, up to the as-of date?
-- A blank flush is one after the highest picked before that day. Pins seen on a batch as a whole hold for its units.
-- Grain: one row per observation of pins and unit that it concerns.
create or replace temp table unit_pins as
with seen as (
    select batch, container, seen_on, flush
    from observations
    where event = 'pins' and seen_on <= getvariable('as_of')
),
concerned as (
    select u.unit, u.batch, u.container, s.seen_on, s.flush
    from seen as s
    inner join units as u on u.batch = s.batch
        and (u.container is null or s.container is null or u.container = s.container)
),
picked_before as (
    select c.unit, c.seen_on, max(h.flush) as flush
    from concerned as c
    inner join harvests as h on h.batch = c.batch
        and (c.container is null or h.container = c.container)
        and h.picked_on < c.seen_on
    where c.flush is null
    group by c.unit, c.seen_on
)
select c.unit, c.seen_on, coalesce(c.flush, p.flush + 1, 1) as flush
from concerned as c
left join picked_before as p on p.unit = c.unit and p.seen_on = c.seen_on
