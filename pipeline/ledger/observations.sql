-- What was seen, and of which filling or batch?
-- container null: of the batch as a whole. A container that is no filling of its batch stands as one (count 1) of it.
-- Grain: one row per loaded observation.
create or replace table observations as
select
    o.seen_on,
    o.event,
    p.batch,
    p.container,
    o.flush,
    o.cause,
    case when p.container is null and o.container is not null then 1 else o.count end as count,
    o.entry,
    o.note,
    o.file,
    o.row
from stage_observations as o
inner join places as p on p.table_name = 'observations' and p.stage_row = o.rowid
