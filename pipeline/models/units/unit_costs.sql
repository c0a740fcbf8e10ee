-- What did each unit cost, in which month, and for what? What went into it in the month of its inoculation, container-days
-- in the months in which it stood, picking in the months of the pickings. cost: in money, exactly; null where a price or a
-- quantity is not known: lacks names it, an item of prices.csv or a column; everywhere: it is written nowhere on the farm.
-- What costs nothing needs no quantity. days: container-days, of container_day. followed: as in unit_stays.
-- Grain: one row per unit, item, month, and whether it is followed.
-- reads: prices, unit_needs, unit_prices, unit_states, unit_stays, unit_work, unpriced
-- writes: unit_costs
create or replace temp table unit_costs as
with supplements as (
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
            when p.unit_price = 0 then 0
            when p.per = 'batch' then p.unit_price * n.batch_share
            when n.item = 'substrate' then p.unit_price * (n.quantity - coalesce(s.quantity, 0))
            else p.unit_price * n.quantity
        end as cost,
        case
            when p.unit_price is null then n.item || ' (price)'
            when p.unit_price > 0 then n.lacks
        end as lacks
    from unit_needs as n
    left join unit_prices as p on p.unit = n.unit and p.item = n.item
    left join supplements as s on s.unit = n.unit
    where n.item in ('substrate', 'spawn', 'start')
        or (n.item in ('supplement', 'lime') and n.item in (select item from prices))
),
paid_parts as (
    select
        s.unit,
        s.month,
        s.followed,
        p.unit_price,
        greatest(0, least(s.before_on, coalesce(p.before_on, s.before_on)) - greatest(s.from_on, p.from_on)) as days
    from unit_stays as s
    inner join unit_prices as p on p.unit = s.unit and p.item = 'container_day'
),
paid_stays as (
    select unit, month, followed, sum(days) as days, sum(days * unit_price) as price
    from paid_parts
    group by unit, month, followed
),
rented as (
    select
        s.unit,
        s.month,
        s.followed,
        s.containers,
        s.lacks,
        s.before_on - s.from_on as days,
        coalesce(p.days, 0) as paid_days,
        p.price
    from unit_stays as s
    left join paid_stays as p on p.unit = s.unit and p.month = s.month and p.followed = s.followed
)
select
    unit,
    item,
    month,
    true as followed,
    cost::decimal(38, 6) as cost,
    lacks,
    item in (select item from unpriced) as everywhere,
    null::decimal(38, 0) as days
from taken
union all
select
    unit,
    'container_day',
    month,
    followed,
    case when paid_days = days then price * containers end::decimal(38, 6),
    coalesce(lacks, case when paid_days is distinct from days then 'container_day (price)' end),
    'container_day' in (select item from unpriced),
    (days * containers)::decimal(38, 0)
from rented
union all
select unit, 'work_hour', month, followed, cost, lacks, everywhere, null
from unit_work
union all
select u.unit, 'start', null, true, null, 'inoculated_on', false, null
from unit_states as u
where u.inoculated_on is null
