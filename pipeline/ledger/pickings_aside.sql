-- Which pickings that are set aside or waiting would belong to a loaded filling or batch?
-- container null: only the batch is known.
-- Grain: one row per such picking.
create or replace table pickings_aside as
with aside as (
    select rowid as stage_row, file, row, picked_on, batch, container
    from stage_harvests
    where rowid not in (select stage_row from places where table_name = 'harvests')
),
only_filling as (
    select container, min(batch) as batch from fillings group by container having count(*) = 1
)
select
    a.file,
    a.row,
    a.picked_on,
    b.batch,
    case
        when q.container is not null then q.container
        when p.to_container is not null then p.to_container
        when o.batch is not null then o.container
    end as container
from aside as a
left join quick_places as q on q.table_name = 'harvests' and q.stage_row = a.stage_row
left join placed as p on p.table_name = 'harvests' and p.stage_row = a.stage_row
left join only_filling as o on a.picked_on is null and p.outcome = 'unknown' and o.container = a.container
inner join batches as b on b.batch = coalesce(q.batch, o.batch, p.near_batch)
