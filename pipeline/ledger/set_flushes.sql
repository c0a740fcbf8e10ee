-- The derived flush numbers, written to the pickings whose flush cell is blank.
-- Grain: one row per loaded picking (no row is added or taken away).
update harvests
set flush = d.flush
from derived_flushes as d
where harvests.flush is null
    and d.batch = harvests.batch
    and d.container is not distinct from harvests.container
    and d.day = harvests.picked_on
