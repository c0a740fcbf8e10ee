-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to? Mass in g.
-- Grain: one row per loaded picking. The view `harvests` shows it with all its cells.
delete from harvest_places where line in (select line from repeats);

insert into harvest_places
select p.line, p.batch_line, p.filling_line, p.day, p.fresh_weight_g, coalesce(p.flush, d.flush)
from unclear_places as p
left join derived_flushes as d on d.place_line = p.place_line and d.day = p.day
where p.fresh_weight_g is not null and p.line not in (select line from repeats)
