-- Which prices hold for what went into each unit? A price for just this name goes before one for any; farm.toml's before
-- none. On the day of inoculation; of container_day and work_hour every price with its days (before_on: null for the last).
-- Grain: one row per unit, item and time in which one price holds.
-- reads: prices, unit_needs
-- writes: unit_prices
create or replace temp table unit_prices as
with fitting as (
    select
        n.unit,
        n.item,
        p.from_on,
        p.before_on,
        p.unit_price,
        p.per,
        case when p.name is null then 0 when lower(p.name) = n.name then 2 else 1 end as fit
    from unit_needs as n
    inner join prices as p on p.item = n.item
    where (p.name is null or lower(p.name) = n.name or lower(p.name) = n.other_name)
        and (
            n.item in ('container_day', 'work_hour')
            or (p.from_on <= n.inoculated_on and (p.before_on is null or p.before_on > n.inoculated_on))
        )
),
best as (
    select unit, item, max(fit) as fit from fitting group by unit, item
)
select f.unit, f.item, f.from_on, f.before_on, f.unit_price, f.per
from fitting as f
inner join best as b on b.unit = f.unit and b.item = f.item and b.fit = f.fit
union all
select
    n.unit,
    n.item,
    '1900-01-01'::date,
    null,
    getvariable('farm_prices')[n.item]::decimal(38, 9),
    case n.item when 'start' then 'container' else 'kg' end
from unit_needs as n
anti join best as b on b.unit = n.unit and b.item = n.item
where getvariable('farm_prices')[n.item] is not null
