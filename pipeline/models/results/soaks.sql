-- How many units of each soak were lost without a picking? A batch without a soak is its own.
-- Grain: one row per soak with units whose fate is told.
-- reads: batches, fates
-- writes: nothing
select
    coalesce(b.soak, b.batch) as soak,
    min(b.inoculated_on) as inoculated_on,
    count(*) as units,
    count(*) filter (where f.finished and not f.picked) as lost,
    100 * count(*) filter (where f.finished and not f.picked)::double / count(*) as lost_pct
from fates as f
inner join batches as b on b.line = f.batch_line
where f.finished or f.picked
group by f.soak_key, coalesce(b.soak, b.batch)
order by min(b.inoculated_on) nulls first, soak
