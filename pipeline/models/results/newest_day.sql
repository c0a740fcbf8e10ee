-- The newest days with a picking or an observation: up to the day `until`, and the third newest of all (two rows alone may
-- be slips of the pen); and how many rows lie after `until`. Null and 0 for none.
-- Grain: one row.
-- reads: harvest_assignments, observation_assignments
-- writes: nothing
select
    max(day) filter (where day <= getvariable('until')) as before,
    max(day, 3)[3] as third,
    count(*) filter (where day > getvariable('until')) as later
from (
    select picked_on as day from harvest_assignments
    union all
    select seen_on as day from observation_assignments
) as noted
