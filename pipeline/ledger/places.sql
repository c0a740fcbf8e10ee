-- Which filling (or batch as a whole: container null) does each loaded picking and observation belong to?
-- Grain: one row per picking or observation that is loaded.
create or replace temp table places as
select table_name, stage_row, batch, container
from quick_places
where not early and (table_name, stage_row) not in (select (table_name, stage_row) from repeats)
union all
select table_name, stage_row, to_batch, to_container
from placed
where to_batch is not null
    and not faulty
    and not early
    and (table_name, stage_row) not in (select (table_name, stage_row) from repeats)
