-- Which containers does the farm have, and where did each stand when it was last filled?
-- Grain: one row per container of a loaded filling.
-- reads: fillings
-- writes: nothing
select
    container,
    arg_max(batch, (coalesce(inoculated_on, date '1900-01-01'), line)) as batch,
    arg_max(room, (coalesce(inoculated_on, date '1900-01-01'), line)) as room,
    arg_max(position, (coalesce(inoculated_on, date '1900-01-01'), line)) as position
from fillings
group by container
