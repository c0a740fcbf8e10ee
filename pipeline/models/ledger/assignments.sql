-- Which filling (or batch as a whole: filling_line null) does each usable picking and observation belong to? Repeated
-- rows are still among them. place_line: the filling's line, or the batch's. Mass in g; null: an observation.
-- Grain: one row per staged picking or observation that is not faulty, has its place and is not early.
-- reads: clear_harvests, clear_observations, resolved_assignments
-- writes: assignments
create or replace temp view assignments as
select line, filling_line as place_line, picked_on as day, fresh_weight_g, flush
from clear_harvests
union all
select line, filling_line, seen_on, null, flush
from clear_observations
union all
select line, place_line, day, fresh_weight_g, flush
from resolved_assignments
