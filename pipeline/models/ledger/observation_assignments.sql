-- Which filling (or batch as a whole: filling_line null) does each loaded observation belong to? What is clear is
-- written once, where it stays; the others stand beside it.
-- Grain: one row per loaded observation. The view `observations` shows it with all its cells.
-- reads: clear_observations, repeats, resolved_observations
-- writes: observation_assignments
create or replace view observation_assignments as
select c.line, c.batch_line, c.filling_line, c.seen_on, c.event, c.flush, c.cause, c.count
from clear_observations as c
anti join repeats as r on r.line = c.line
union all
select line, batch_line, filling_line, seen_on, event, flush, cause, count
from resolved_observations
