-- The loaded pickings with all their cells, as `gillbook query` shows them. Masses in g. container null: weighed for
-- the batch as a whole. flush_source: given, or derived where the cell is blank.
-- Grain: one row per loaded picking.
-- reads: batches, harvest_assignments, rows_of_harvests, stage_fillings
-- writes: harvests
create or replace view harvests as
select
    p.picked_on,
    p.fresh_weight_g,
    b.batch,
    f.container,
    p.flush,
    case when h.flush is null then 'derived' else 'given' end as flush_source,
    h.cap_stage,
    p.culled_g,
    h.picker,
    h.entry,
    h.note,
    h.file,
    h.row
from harvest_assignments as p
inner join rows_of_harvests as h on h.line = p.line
inner join batches as b on b.line = p.batch_line
left join stage_fillings as f on f.line = p.filling_line
order by h.file, h.row
