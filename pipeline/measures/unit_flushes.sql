-- What did each unit give in each flush, up to the as-of date? Masses in g.
-- Grain: one row per unit and flush picked.
create or replace temp table unit_flushes as
with placed as (
    select u.unit, h.flush, h.picked_on, h.fresh_weight_g, h.filling_line is null as pooled
    from harvest_places as h
    inner join units as u on u.unit = h.batch_line
    where h.picked_on <= getvariable('as_of')
    union all
    select u.unit, h.flush, h.picked_on, h.fresh_weight_g, false
    from harvest_places as h
    inner join units as u on u.unit = h.filling_line
    where h.picked_on <= getvariable('as_of')
)
select
    unit,
    flush,
    sum(fresh_weight_g) as fresh_g,
    coalesce(sum(fresh_weight_g) filter (where pooled), 0) as fresh_g_pooled,
    count(*) as pickings,
    min(picked_on) as first_day,
    max(picked_on) as last_day
from placed
group by unit, flush
