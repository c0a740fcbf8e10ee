-- How many units of each soak were lost without a picking? A soak without a name goes by the
-- first of its batches.
-- Grain: one row per soak with units whose fate is known.
-- reads: batches, fates
-- writes: nothing
select
    min(coalesce(b.soak, b.batch)) as soak,
    min(b.inoculated_on) as inoculated_on,
    count(*) as units,
    count(*) filter (where f.finished and not f.picked) as lost,
    100 * count(*) filter (where f.finished and not f.picked)::double / count(*) as lost_pct
from fates as f
inner join batches as b on b.line = f.batch_line
where f.finished or f.picked
group by f.soak_key
order by min(b.inoculated_on) nulls first, soak
