-- What left the farm, when, and for how much? kind: sold where the cell is blank. paid: what was paid for it (of what came
-- back: paid back), null where nothing tells; nothing is paid for what was not sold. paid_by: what tells it: amount,
-- price (of the row), listed (prices.csv: the buyer's price of the strain, the buyer's, the strain's, anybody's), farm
-- (farm.toml). Amounts of money exactly, in the farm's currency.
-- Grain: one row per loaded sale.
-- reads: prices, rejected_books, rows_of_sales
-- writes: sales
create or replace table sales as
with loaded as (
    select
        {columns of sales as s},
        coalesce(s.kind, 'sold') in ('sold', 'returned') as for_money,
        s.file,
        s.row,
        s.line
    from rows_of_sales as s
    anti join rejected_books as r on r.line = s.line
    where not s.faulty
),
listed as (
    select
        s.line,
        arg_max(p.unit_price, (p.buyer is not null, p.name is not null)) as unit_price
    from loaded as s
    inner join prices as p
        on p.item = 'fresh'
        and p.from_on <= s.sold_on
        and (p.before_on is null or p.before_on > s.sold_on)
        and (p.buyer is null or lower(p.buyer) = lower(s.buyer))
        and (p.name is null or lower(p.name) = lower(s.strain))
    where s.for_money and s.amount is null and s.price_per_kg is null
    group by s.line
)
select
    s.sold_on,
    s.weight_g,
    s.buyer,
    s.strain,
    s.price_per_kg,
    s.amount,
    coalesce(s.kind, 'sold') as kind,
    s.batch,
    s.picked_on,
    s.entry,
    s.note,
    case
        when not s.for_money then 0
        else coalesce(
            s.amount,
            s.weight_g::decimal(38, 3) * coalesce(s.price_per_kg, l.unit_price, getvariable('farm_price')::decimal(18, 6)) / 1000
        )
    end::decimal(38, 6) as paid,
    case
        when not s.for_money then null
        when s.amount is not null then 'amount'
        when s.price_per_kg is not null then 'price'
        when l.unit_price is not null then 'listed'
        when getvariable('farm_price') is not null then 'farm'
    end as paid_by,
    s.file,
    s.row,
    s.line
from loaded as s
left join listed as l on l.line = s.line
