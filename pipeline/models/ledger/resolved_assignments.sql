-- Which filling (or batch as a whole: filling_line null) does each usable picking and observation belong to that is not
-- clear at once? place_line: the filling's line, or the batch's. Mass in g; null: an observation.
-- Grain: one row per staged picking or observation that is neither clear, nor faulty, nor early, and has its place.
-- reads: fallback, resolved
-- writes: resolved_assignments
create or replace temp view resolved_assignments as
select line, batch_line, filling_line, filling_line as place_line, day, fresh_weight_g, flush
from resolved
where filling_line is not null and not faulty and not early
union all
select line, batch_line, filling_line, coalesce(filling_line, batch_line), day, fresh_weight_g, flush
from fallback
where batch_line is not null and not faulty and not early
