-- The loaded fillings with all their cells. dry_source names the rung of the ladder: weighed, from fill, by fill, by
-- volume, evenly; null where there is no dry mass. Masses in kg as entered; *_g in g.
-- Grain: one row per loaded filling.
create or replace view fillings as
select
    f.batch,
    f.container,
    f.kind,
    f.volume_l,
    f.holes_open,
    f.holes_taped,
    f.fill_kg,
    f.substrate_dry_kg,
    f.room,
    f.position,
    f.note,
    s.inoculated_on,
    s.refilled_on,
    r.batch as refilled_from,
    s.dry_g,
    ['weighed', 'from fill', 'by fill', 'by volume', 'evenly'][s.rung] as dry_source,
    s.wet_g,
    s.spawn_g,
    f.file,
    f.row,
    s.line,
    s.batch_line
from filling_shares as s
inner join rows_of_fillings as f on f.line = s.line
left join batches as r on r.line = s.refilled_line;

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
inner join rows_of_harvests as h on h.line = p.line
inner join batches as b on b.line = p.batch_line
left join stage_fillings as f on f.line = p.filling_line
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
inner join rows_of_observations as o on o.line = p.line
inner join batches as b on b.line = p.batch_line
left join stage_fillings as f on f.line = p.filling_line
order by o.file, o.row
