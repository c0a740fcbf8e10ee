-- Which filling (or batch as a whole: filling_line null) does each usable picking and observation belong to?
-- Repeated rows are still among them. place_line: the filling's line, or the batch's. Mass in g.
-- Grain: one row per staged picking or observation that is not faulty, has its place and is not early.
create or replace temp view places as
select line, batch_line, filling_line, filling_line as place_line, day, fresh_weight_g, flush
from located
where filling_line is not null and not faulty and not early
union all
select p.line, p.batch_line, p.filling_line, coalesce(p.filling_line, p.batch_line), l.day, l.fresh_weight_g, l.flush
from placed as p
inner join located as l on l.line = p.line
where p.batch_line is not null and not p.faulty and not p.early
