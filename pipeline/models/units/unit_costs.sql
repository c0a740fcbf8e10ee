-- What did each unit cost, in which month, and for what? What went into it in the month of its inoculation, container-days
-- in the months in which it stood, picking in the months of the pickings. cost: in money, exactly; null where a price or a
-- quantity is not known: lacks names it, an item of prices.csv or a column. days: container-days, of container_day.
-- Grain: one row per unit, item and month.
-- reads: prices, unit_needs, unit_pickings, unit_prices, unit_states
-- writes: unit_costs
create or replace temp table unit_costs as
with priced_items as (
    select distinct item from prices
),
supplements as (
    select n.unit, n.quantity
    from unit_needs as n
    semi join unit_prices as p on p.unit = n.unit and p.item = n.item
    where n.item = 'supplement' and n.quantity is not null
),
taken as (
    -- What is paid for once. Without a price of its own a supplement is paid for as substrate.
    select
        n.unit,
        n.item,
        date_trunc('month', n.inoculated_on)::date as month,
        case
            when p.per = 'batch' then p.unit_price * n.batch_share
            when n.item = 'substrate' then p.unit_price * (n.quantity - coalesce(s.quantity, 0))
            else p.unit_price * n.quantity
        end as cost,
        case when p.unit_price is null then n.item || ' (price)' else n.lacks end as lacks
    from unit_needs as n
    left join unit_prices as p on p.unit = n.unit and p.item = n.item
    left join supplements as s on s.unit = n.unit
    where n.item in ('substrate', 'spawn', 'start')
        or (n.item in ('supplement', 'lime') and n.item in (select item from priced_items))
),
stays as (
    select
        n.unit,
        n.quantity,
        n.lacks,
        n.inoculated_on,
        case
            when s.finished then greatest(least(s.closed_on, s.lapses_on), n.inoculated_on)
            else getvariable('as_of')::date
        end as ended_on
    from unit_needs as n
    inner join unit_states as s on s.unit = n.unit
    where n.item = 'container_day'
),
months as (
    select
        unit,
        quantity,
        lacks,
        inoculated_on,
        ended_on,
        unnest(
            generate_series(date_trunc('month', inoculated_on), date_trunc('month', ended_on), interval 1 month)
        )::date as month
    from stays
),
stood as (
    select
        unit,
        quantity,
        lacks,
        month,
        greatest(month, inoculated_on) as from_on,
        least((month + interval 1 month)::date, ended_on) as before_on
    from months
),
paid_parts as (
    select
        s.unit,
        s.month,
        p.unit_price,
        greatest(0, least(s.before_on, coalesce(p.before_on, s.before_on)) - greatest(s.from_on, p.from_on)) as days
    from stood as s
    inner join unit_prices as p on p.unit = s.unit and p.item = 'container_day'
),
paid_stays as (
    select unit, month, sum(days) as days, sum(days * unit_price) as price from paid_parts group by unit, month
),
rented as (
    select
        s.unit,
        s.month,
        s.quantity,
        s.lacks,
        s.before_on - s.from_on as days,
        coalesce(p.days, 0) as paid_days,
        p.price
    from stood as s
    left join paid_stays as p on p.unit = s.unit and p.month = s.month
),
worked as (
    select unit, inoculated_on as day, quantity * getvariable('farm_prices')['hours_per_container']::decimal(38, 6) as hours
    from unit_needs
    where item = 'work_hour'
    union all
    select p.unit, p.picked_on, sum(p.fresh_weight_g) / 1000 * getvariable('farm_prices')['hours_per_kg']::decimal(18, 6)
    from unit_pickings as p
    semi join unit_needs as n on n.unit = p.unit
    group by p.unit, p.picked_on
),
paid_work as (
    select w.unit, w.day, w.hours::decimal(18, 9) as hours, p.unit_price
    from worked as w
    left join unit_prices as p on p.unit = w.unit and p.item = 'work_hour' and p.from_on <= w.day
        and (p.before_on is null or p.before_on > w.day)
    where 'work_hour' in (select item from priced_items)
),
undated as (
    select u.unit from unit_states as u where u.inoculated_on is null
)
select unit, item, month, cost::decimal(38, 6) as cost, lacks, null::decimal(38, 0) as days
from taken
union all
select
    unit,
    'container_day',
    month,
    case when paid_days = days then price * quantity end::decimal(38, 6),
    coalesce(lacks, case when paid_days is distinct from days then 'container_day (price)' end),
    (days * quantity)::decimal(38, 0)
from rented
union all
select
    unit,
    'work_hour',
    date_trunc('month', day)::date,
    sum((hours * unit_price)::decimal(38, 6)),
    case
        when count(hours) < count(*) then 'work_hours_per_container or work_hours_per_kg (farm.toml)'
        when count(unit_price) < count(*) then 'work_hour (price)'
    end,
    null
from paid_work
group by unit, date_trunc('month', day)
union all
select u.unit, 'start', null, null, 'inoculated_on', null
from undated as u
