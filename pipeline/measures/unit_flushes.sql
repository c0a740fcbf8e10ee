-- What did each unit give in each flush, up to the as-of date? Masses in g.
-- Grain: one row per unit and flush picked.
create or replace temp table unit_flushes as
with whole as (
    select unit, batch from units where container is null
),
picked as (
    select w.unit, h.flush, h.picked_on, h.fresh_weight_g, h.container is null as pooled
    from harvests as h
    inner join whole as w on w.batch = h.batch
    where h.picked_on <= getvariable('as_of')
    union all
    select u.unit, h.flush, h.picked_on, h.fresh_weight_g, false
    from harvests as h
    inner join units as u on u.batch = h.batch and u.container = h.container
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
from picked
group by unit, flush
