-- What did each unit give in each flush, up to the as-of date? Masses in g.
-- pickings_derived: those with a blank flush cell. settled_on: the day from which the flush is
-- known to be over, flush_settled_days after its last picking.
-- Grain: one row per unit and flush picked.
-- reads: unit_pickings
-- writes: unit_flushes
create or replace temp table unit_flushes as
select
    unit,
    flush,
    sum(fresh_weight_g) as fresh_g,
    coalesce(sum(fresh_weight_g) filter (where pooled), 0) as fresh_g_pooled,
    count(*) as pickings,
    count(*) filter (where derived) as pickings_derived,
    min(picked_on) as first_day,
    max(picked_on) as last_day,
    max(picked_on) + getvariable('flush_settled_days')::integer as settled_on
from unit_pickings
group by unit, flush
