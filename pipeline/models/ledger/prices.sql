-- What has which price, from which day on and before which? unit_price: in money per kg, container, batch, day or hour.
-- Grain: one row per loaded price.
-- reads: rejected_books, rows_of_prices
-- writes: prices
create or replace table prices as
select
    {columns of prices as p},
    (p.price * coalesce(getvariable('kg_per')[p.per], '1')::decimal(18, 12))::decimal(38, 9) as unit_price,
    lead(p.from_on) over (
        partition by p.item, lower(p.name), lower(p.buyer) order by p.from_on
    ) as before_on,
    p.file,
    p.row,
    p.line
from rows_of_prices as p
anti join rejected_books as r on r.line = p.line
where not p.faulty
