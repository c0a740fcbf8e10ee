-- What does a kilogram bring that was picked of each unit on a day, whoever buys? The price of that day for its strain goes
-- before one for any, and farm.toml's before none. unit_price: per kg; null where nothing tells it.
-- Grain: one row per unit and day on which it was picked.
-- reads: batches, prices, unit_pickings, unit_states
-- writes: unit_picking_prices
create or replace temp table unit_picking_prices as
with picked as (
    select distinct p.unit, p.picked_on, lower(b.strain) as strain
    from unit_pickings as p
    inner join unit_states as s on s.unit = p.unit
    inner join batches as b on b.line = s.batch_line
),
fitting as (
    select k.unit, k.picked_on, arg_max(p.unit_price, p.name is not null) as unit_price
    from picked as k
    inner join prices as p
        on p.item = 'fresh' and p.buyer is null and p.from_on <= k.picked_on
        and (p.before_on is null or p.before_on > k.picked_on)
        and (p.name is null or lower(p.name) = k.strain)
    group by k.unit, k.picked_on
)
select
    k.unit,
    k.picked_on,
    coalesce(f.unit_price, getvariable('farm_prices')['fresh']::decimal(18, 6)) as unit_price
from picked as k
left join fitting as f on f.unit = k.unit and f.picked_on = k.picked_on
