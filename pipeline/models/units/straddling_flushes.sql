-- What did those flushes of places give up to the as-of date that were picked before and after it? Masses in g.
-- Grain: one row per place (filling, or batch as a whole: filling_line null) and such flush.
-- reads: harvest_assignments, picked_flushes
-- writes: straddling_flushes
create or replace temp table straddling_flushes as
with straddling as materialized (
    select batch_line, filling_line, flush
    from picked_flushes
    where first_day <= getvariable('as_of') and last_day > getvariable('as_of')
),
picked as (
    -- First by batch alone: few batches are looked for among all pickings.
    select
        batch_line,
        filling_line,
        flush,
        min(picked_on) as first_day,
        max(picked_on) as last_day,
        sum(fresh_weight_g) as fresh_g,
        count(*) as pickings,
        count(*) filter (where derived) as pickings_derived
    from harvest_assignments
    where picked_on <= getvariable('as_of') and batch_line in (select distinct batch_line from straddling)
    group by batch_line, filling_line, flush
)
select p.batch_line, p.filling_line, p.flush, p.first_day, p.last_day, p.fresh_g, p.pickings, p.pickings_derived
from picked as p
inner join straddling as s
    on s.batch_line = p.batch_line
    and s.filling_line is not distinct from p.filling_line
    and s.flush = p.flush
