-- What was seen, and of which filling or batch?
-- container null: of the batch as a whole. A container that is no filling of its batch stands as one (count 1) of it.
-- Grain: one row per loaded observation.
create or replace table observations as
with joined as (
    select
        o.file,
        o.row,
        o.seen_on,
        o.event,
        coalesce(f.batch, p.to_batch) as batch,
        coalesce(f.container, p.to_container) as container,
        o.flush,
        o.cause,
        case when f.batch is null and p.to_container is null and o.container is not null then 1 else o.count end as count,
        o.entry,
        o.note,
        r.file is not null as repeated
    from stage_observations as o
    left join fillings as f on f.batch = o.batch and f.container = o.container
    left join placed as p on p.table_name = 'observations' and p.file = o.file and p.row = o.row
    left join repeats as r on r.table_name = 'observations' and r.file = o.file and r.row = o.row
    where not o.faulty
)
select
    j.seen_on,
    j.event,
    j.batch,
    j.container,
    j.flush,
    j.cause,
    j.count,
    j.entry,
    j.note,
    j.file,
    j.row
from joined as j
inner join batches as b on b.batch = j.batch
where not j.repeated and (b.inoculated_on is null or j.seen_on >= b.inoculated_on)
order by j.seen_on, j.batch, j.container, j.file, j.row
