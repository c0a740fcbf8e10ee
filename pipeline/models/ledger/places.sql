-- Which filling (or batch as a whole: filling_line null) does each usable picking and observation belong to?
-- Repeated rows are still among them. place_line: the filling's line, or the batch's. Mass in g; null: an observation.
-- unclear_places: those that clear_harvests.sql and clear_observations.sql leave out.
-- Grain: one row per staged picking or observation that is not faulty, has its place and is not early.
create or replace temp view unclear_places as
select line, batch_line, filling_line, filling_line as place_line, day, fresh_weight_g, flush
from located
where filling_line is not null and not faulty and not early
union all
select line, batch_line, filling_line, coalesce(filling_line, batch_line), day, fresh_weight_g, flush
from placed
where batch_line is not null and not faulty and not early;

create or replace temp view places as
select line, filling_line as place_line, picked_on as day, fresh_weight_g, flush
from harvest_places
union all
select line, filling_line, seen_on, null, flush
from observation_places
union all
select line, place_line, day, fresh_weight_g, flush
from unclear_places
