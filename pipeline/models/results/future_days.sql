-- Which loaded rows have a day that lies after $as_of?
-- Grain: one row per such row.
-- reads: batches, files, harvest_assignments, observation_assignments, sales
-- writes: nothing
select 'batches' as table_name, file, row, 'inoculated_on' as column_name, inoculated_on::varchar as value
from batches
where inoculated_on > $as_of
union all
select 'observations', f.file, row_of(o.line), 'seen_on', o.seen_on::varchar
from observation_assignments as o
inner join files as f on f.file_part = file_part_of(o.line)
where o.seen_on > $as_of
union all
select 'harvests', f.file, row_of(h.line), 'picked_on', h.picked_on::varchar
from harvest_assignments as h
inner join files as f on f.file_part = file_part_of(h.line)
where h.picked_on > $as_of
union all
select 'sales' as table_name, file, row, 'sold_on' as column_name, sold_on::varchar as value
from sales
where sold_on > $as_of
order by all
