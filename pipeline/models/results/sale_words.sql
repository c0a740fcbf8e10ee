-- What can be proposed where a sale is logged: buyers, strains and batches by name? last_on: the last day that the farm's
-- files have of it, null where they have none; price: of a buyer, what a kilogram brought at the last sale that says so,
-- in the farm's currency, as text.
-- Grain: one row per kind (buyer, strain, batch) and name.
-- reads: batches, prices, sales
-- writes: nothing
with named as (
    select 'buyer' as kind, buyer as name, sold_on as last_on, price_per_kg as price, line
    from sales
    where buyer is not null
    union all
    select 'strain', strain, sold_on, null, line from sales where strain is not null
    union all
    select 'strain', name, from_on, null, line from prices where item = 'fresh' and name is not null
    union all
    select 'strain', strain, inoculated_on, null, line from batches where strain is not null
    union all
    select 'batch', batch, inoculated_on, null, line from batches
)
select
    kind,
    arg_max(name, (last_on, line)) as name,
    max(last_on) as last_on,
    (arg_max(price, (last_on, line)) filter (where price is not null))::varchar as price
from named
group by kind, lower(name)
order by kind, last_on desc nulls last, name
