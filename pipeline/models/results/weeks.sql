-- What was picked in each week of the month, by strain? Fresh mass in g. Weeks begin on Monday; days outside the month
-- are not in them.
-- Grain: one row per week with days in the month and strain picked in the month.
-- reads: batches, unit_pickings, unit_states
-- writes: nothing
with picked as (
    select date_trunc('week', p.picked_on)::date as week, coalesce(b.strain, '') as strain, p.fresh_weight_g
    from unit_pickings as p
    inner join unit_states as s on s.unit = p.unit
    inner join batches as b on b.line = s.batch_line
    where p.picked_on between getvariable('month_first') and getvariable('month_last')
),
weeks as (
    select unnest(generate_series(
        date_trunc('week', getvariable('month_first')::date)::date, getvariable('month_last')::date, interval 7 day
    ))::date as week
),
strains as (
    select distinct strain from picked
)
select w.week, s.strain, coalesce(sum(p.fresh_weight_g), 0)::double as fresh_g, count(p.fresh_weight_g) as pickings
from weeks as w
cross join strains as s
left join picked as p on p.week = w.week and p.strain = s.strain
group by w.week, s.strain
order by w.week, s.strain
