-- What was picked on each day of the month? Fresh mass in g.
-- Grain: one row per day of the month, up to the as-of date; without a picking: 0.
-- reads: unit_pickings
-- writes: nothing
with days as (
    select unnest(generate_series(
        getvariable('month_first')::date, least(getvariable('month_last')::date, getvariable('as_of')::date), interval 1 day
    ))::date as day
)
select d.day, coalesce(sum(p.fresh_weight_g), 0)::double as fresh_g, count(p.fresh_weight_g) as pickings
from days as d
left join unit_pickings as p on p.picked_on = d.day
group by d.day
order by d.day
