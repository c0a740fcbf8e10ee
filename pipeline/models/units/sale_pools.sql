-- What left on each day, as far as packs tell apart where it was picked: by batch, day of picking and strain. Masses in mg
-- and money in millionths, as whole numbers, so that they can be shared out without a rest. What came back is taken off.
-- unpaid: sales of which nothing tells what they brought.
-- Grain: one row per day and what packs say.
-- reads: batches, sales
-- writes: sale_pools
create or replace temp table sale_pools as
with left_then as (
    select
        s.sold_on,
        lower(s.strain) as strain,
        b.line as batch_line,
        s.picked_on,
        sum(case s.kind when 'sold' then s.weight_g when 'returned' then -s.weight_g else 0 end) as sold_g,
        sum(case when s.kind in ('given', 'own_kitchen') then s.weight_g else 0 end) as given_g,
        sum(case when s.kind = 'discarded' then s.weight_g else 0 end) as discarded_g,
        sum(case when s.kind = 'returned' then -s.paid else s.paid end) as paid,
        count(*) filter (where s.paid is null) as unpaid
    from sales as s
    left join batches as b on b.batch = s.batch
    where s.sold_on <= getvariable('as_of')
    group by s.sold_on, lower(s.strain), b.line, s.picked_on
)
select
    row_number() over (order by sold_on, batch_line, picked_on, strain) as pool,
    sold_on,
    strain,
    batch_line,
    picked_on,
    (sold_g * 1000)::hugeint as sold_mg,
    (given_g * 1000)::hugeint as given_mg,
    (discarded_g * 1000)::hugeint as discarded_mg,
    (coalesce(paid, 0) * 1000000)::hugeint as paid,
    unpaid
from left_then
