-- The loaded observations with all their cells, as `gillbook query` shows them. container null: seen for the batch as a
-- whole.
-- Grain: one row per loaded observation.
-- reads: batches, observation_assignments, rows_of_observations, stage_fillings
-- writes: observations
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
from observation_assignments as p
inner join rows_of_observations as o on o.line = p.line
inner join batches as b on b.line = p.batch_line
left join stage_fillings as f on f.line = p.filling_line
order by o.file, o.row
