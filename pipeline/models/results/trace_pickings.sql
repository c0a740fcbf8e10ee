-- What was picked from the traced containers, and when? Masses in g.
-- Grain: one row per loaded picking of a traced container, or of a traced container's batch weighed together.
-- reads: trace_scope_pickings
-- writes: nothing
select
    picked_on,
    batch,
    coalesce(container, '') as container,
    fresh_g::double as fresh_g,
    flush,
    coalesce(picker, '') as picker,
    asked,
    file,
    row
from trace_scope_pickings
order by asked desc, picked_on, batch, container nulls first, file, row
