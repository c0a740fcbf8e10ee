-- Which units have pickings set aside, up to the as-of date? One whose day is unknown counts always.
-- Grain: one row per unit and set-aside picking that may be its own.
-- reads: rejected_pickings, units
-- writes: unit_rejected
create or replace temp table unit_rejected as
select u.unit, a.line
from rejected_pickings as a
inner join units as u on u.batch_line = a.batch_line
    and (u.whole or a.filling_line is null or u.unit = a.filling_line)
where a.picked_on is null or a.picked_on <= getvariable('as_of')
