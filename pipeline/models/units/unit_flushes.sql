-- What did each unit give in each flush, up to the as-of date? Masses in g.
-- Grain: one row per unit and flush picked.
create or replace temp table unit_flushes as
select
    unit,
    flush,
    sum(fresh_weight_g) as fresh_g,
    coalesce(sum(fresh_weight_g) filter (where pooled), 0) as fresh_g_pooled,
    count(*) as pickings,
    min(picked_on) as first_day,
    max(picked_on) as last_day
from unit_pickings
group by unit, flush
