-- What did the work at each unit cost, by month: of starting it, and of picking it? followed: as in unit_stays, of pickings
-- whether they count. lacks: what is not known; everywhere: it is written nowhere on the farm.
-- Grain: one row per unit of a dated batch, month, and whether it is followed; none where no hour of work has a price.
-- reads: counted_pickings, prices, unit_needs, unit_pickings, unit_prices
-- writes: unit_work
create or replace temp table unit_work as
with worked as (
    select
        unit,
        inoculated_on as day,
        true as followed,
        quantity * getvariable('farm_prices')['hours_per_container']::decimal(38, 6) as hours
    from unit_needs
    where item = 'work_hour'
    union all
    select
        p.unit,
        p.picked_on,
        p.line in (select line from counted_pickings) as followed,
        sum(p.fresh_weight_g) / 1000 * getvariable('farm_prices')['hours_per_kg']::decimal(18, 6)
    from unit_pickings as p
    semi join unit_needs as n on n.unit = p.unit
    group by p.unit, p.picked_on, p.line in (select line from counted_pickings)
),
paid as (
    select w.unit, w.day, w.followed, w.hours::decimal(18, 9) as hours, p.unit_price
    from worked as w
    left join unit_prices as p on p.unit = w.unit and p.item = 'work_hour' and p.from_on <= w.day
        and (p.before_on is null or p.before_on > w.day)
    where 'work_hour' in (select item from prices)
)
select
    unit,
    date_trunc('month', day)::date as month,
    followed,
    sum((hours * unit_price)::decimal(38, 6)) as cost,
    case
        when count(hours) < count(*) then 'work_hours_per_container or work_hours_per_kg (farm.toml)'
        when count(unit_price) < count(*) then 'work_hour (price)'
    end as lacks,
    count(unit_price) = count(*) as everywhere
from paid
group by unit, date_trunc('month', day), followed
