-- Which units have pickings set aside, up to the as-of date? One whose day is unknown counts always.
-- Grain: one row per unit and set-aside picking that may be its own.
create or replace temp table unit_aside as
select u.unit, a.file, a.row
from pickings_aside as a
inner join units as u on u.batch = a.batch and (u.container is null or a.container is null or u.container = a.container)
where a.picked_on is null or a.picked_on <= getvariable('as_of')
