-- Which pickings that are set aside or waiting would belong to a loaded filling or batch?
-- container null: only the batch is known.
-- Grain: one row per such picking.
create or replace table pickings_aside as
with aside as (
    select h.file, h.row, h.picked_on, h.batch, h.container
    from stage_harvests as h
    anti join harvests as loaded on loaded.file = h.file and loaded.row = h.row
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
        when f.batch is not null then f.container
        when p.to_container is not null then p.to_container
        when o.batch is not null then o.container
    end as container
from aside as a
left join fillings as f on f.batch = a.batch and f.container = a.container
left join placed as p on p.table_name = 'harvests' and p.file = a.file and p.row = a.row
left join only_filling as o on a.picked_on is null and p.outcome = 'unknown' and o.container = a.container
inner join batches as b on b.batch = coalesce(f.batch, o.batch, p.near_batch)
order by a.file, a.row
