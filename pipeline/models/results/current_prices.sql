-- What do mushrooms, spawn, substrate and a start cost on the as-of date, whatever they are called and whoever buys?
-- Grain: one row per item with such a price.
-- reads: prices
-- writes: nothing
select item, unit_price::double as price
from prices
where item in ('fresh', 'spawn', 'substrate', 'start')
    and per <> 'batch'
    and name is null
    and buyer is null
    and from_on <= getvariable('as_of')
    and (before_on is null or before_on > getvariable('as_of'))
