-- The loaded pickings and observations with all their cells, as `gillbook query` shows them.
-- container null: weighed, or seen, for the batch as a whole. flush_source: given, or derived where the cell is blank.
-- Grain: one row per loaded picking; one row per loaded observation.
create or replace view harvests as
select
    p.picked_on,
    p.fresh_weight_g,
    b.batch,
    f.container,
    p.flush,
    case when h.flush is null then 'derived' else 'given' end as flush_source,
    h.cap_stage,
    case when h.culled_g <= h.fresh_weight_g then h.culled_g end as culled_g,
    h.picker,
    h.entry,
    h.note,
    h.file,
    h.row
from harvest_places as p
inner join stage_harvests as h on h.line = p.line
inner join batches as b on b.line = p.batch_line
left join fillings as f on f.line = p.filling_line
order by h.file, h.row;

create or replace view observations as
select
    p.seen_on,
    p.event,
    b.batch,
    f.container,
    p.flush,
    p.cause,
    p.count,
    o.entry,
    o.note,
    o.file,
    o.row
from observation_places as p
inner join stage_observations as o on o.line = p.line
inner join batches as b on b.line = p.batch_line
left join fillings as f on f.line = p.filling_line
order by o.file, o.row
