-- Which loaded rows have a day that lies after $as_of?
-- Grain: one row per such row.
-- reads: batches, harvests, observations, sales
-- writes: nothing
select 'batches' as table_name, file, row, 'inoculated_on' as column_name, inoculated_on::varchar as value
from batches
where inoculated_on > $as_of
union all
select 'observations' as table_name, file, row, 'seen_on' as column_name, seen_on::varchar as value
from observations
where seen_on > $as_of
union all
select 'harvests' as table_name, file, row, 'picked_on' as column_name, picked_on::varchar as value
from harvests
where picked_on > $as_of
union all
select 'sales' as table_name, file, row, 'sold_on' as column_name, sold_on::varchar as value
from sales
where sold_on > $as_of
order by all
