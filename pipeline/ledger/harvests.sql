-- What was picked, and of which filling or batch? Masses in g.
-- container null: weighed for the batch as a whole (pooled). flush is null here where the cell is blank; see set_flushes.sql.
-- Grain: one row per loaded picking.
create or replace table harvests as
select
    h.picked_on,
    h.fresh_weight_g,
    b.batch,
    case when f.batch is not null then f.container else p.to_container end as container,
    h.flush,
    case when h.flush is null then 'derived' else 'given' end as flush_source,
    h.cap_stage,
    case when h.culled_g <= h.fresh_weight_g then h.culled_g end as culled_g,
    h.picker,
    h.entry,
    h.note,
    h.file,
    h.row
from stage_harvests as h
left join fillings as f on f.batch = h.batch and f.container = h.container
left join (select file, row, to_batch, to_container from placed where table_name = 'harvests') as p
    on p.file = h.file and p.row = h.row
inner join batches as b on b.batch = coalesce(f.batch, p.to_batch)
where not h.faulty
    and (b.inoculated_on is null or h.picked_on >= b.inoculated_on)
    and (h.file, h.row) not in (select (file, row) from repeats where table_name = 'harvests')
