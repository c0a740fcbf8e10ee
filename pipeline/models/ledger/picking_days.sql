-- On which days was a place picked that has a picking with a blank flush, and how many days after the day before? given:
-- the highest flush that is written for that day. gap_days: null on the first day.
-- Grain: one row per place (filling, or batch for what was weighed together) and day, for places with a blank flush.
-- reads: assignments, repeats
-- writes: picking_days
create or replace table picking_days as
with blank as (
    select distinct place_line from assignments where flush is null and fresh_weight_g is not null
),
days as (
    select p.place_line, p.day, max(p.flush) as given
    from assignments as p
    semi join blank as b on b.place_line = p.place_line
    anti join repeats as r on r.line = p.line
    where p.fresh_weight_g is not null
    group by p.place_line, p.day
)
select
    place_line,
    day,
    given,
    (day - lag(day) over (partition by place_line order by day))::integer as gap_days
from days
