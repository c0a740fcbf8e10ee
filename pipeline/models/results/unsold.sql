-- What may still lie there of each day's pickings? left_g: picked, less what names this day; and no more than is left of all
-- that was picked. exact: whether nothing left that names no day, so that it is not only the most that there can be.
-- picked_on, age_days: null for all that is older than the shelf days. Masses in g.
-- Grain: one row per day of picking within the shelf days, the oldest first, and one for those before.
-- reads: sales, unit_pickings
-- writes: nothing
with picked as (
    select picked_on, sum(fresh_weight_g) as fresh_g from unit_pickings group by picked_on
),
gone as (
    select picked_on, sum(case when kind = 'returned' then -weight_g else weight_g end) as gone_g
    from sales
    where sold_on <= getvariable('as_of')
    group by picked_on
),
named as (
    select
        p.picked_on,
        p.fresh_g,
        p.fresh_g - coalesce(g.gone_g, 0) as left_g
    from picked as p
    left join gone as g on g.picked_on = p.picked_on
),
farm as (
    select
        coalesce((select sum(fresh_g) from picked), 0) - coalesce((select sum(gone_g) from gone), 0) as left_g,
        coalesce((select sum(gone_g) from gone where picked_on is null), 0) as nameless_g
),
aged as (
    select
        case when getvariable('as_of') - picked_on <= getvariable('shelf_days') then picked_on end as picked_on,
        fresh_g,
        left_g
    from named
)
select
    a.picked_on,
    getvariable('as_of') - a.picked_on as age_days,
    sum(a.fresh_g)::double as picked_g,
    greatest(0, least(sum(greatest(a.left_g, 0)), any_value(f.left_g)))::double as left_g,
    any_value(f.nameless_g) = 0 as exact
from aged as a
cross join farm as f
group by a.picked_on
order by a.picked_on nulls first
