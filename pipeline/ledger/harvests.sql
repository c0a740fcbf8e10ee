-- What was picked, and of which filling or batch? Masses in g.
-- container null: weighed for the batch as a whole (pooled). flush_source: given, or derived where the cell is blank.
-- Grain: one row per loaded picking.
create or replace table harvests as
select
    h.picked_on,
    h.fresh_weight_g,
    p.batch,
    p.container,
    coalesce(h.flush, d.flush) as flush,
    case when h.flush is null then 'derived' else 'given' end as flush_source,
    h.cap_stage,
    case when h.culled_g <= h.fresh_weight_g then h.culled_g end as culled_g,
    h.picker,
    h.entry,
    h.note,
    h.file,
    h.row
from stage_harvests as h
inner join places as p on p.table_name = 'harvests' and p.stage_row = h.rowid
left join derived_flushes as d
    on h.flush is null
    and d.batch = p.batch
    and d.container = coalesce(p.container, '')
    and d.day = h.picked_on
