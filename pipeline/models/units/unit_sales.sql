-- What left of each unit, and what it brought? By the batch and the day of picking that packs name; else shared over what
-- was picked in the shelf days up to that day, of the strain that is named, by mass. unit: null where nothing was picked
-- that it can be of. shared: no batch was named. Of a farm without any sale: each picking at the price of its day, as
-- revenue and nothing sold. unpaid: sales without any price, counted once; unpriced: whether this is of such. Masses in g,
-- money exactly.
-- Grain: one row per unit, pool of sales (or picking day) and whether it was shared.
-- reads: batches, sale_pools, sales, unit_picking_prices, unit_pickings, unit_states
-- writes: unit_sales
create or replace temp table unit_sales as
with picked as (
    select
        p.unit,
        s.batch_line,
        lower(b.strain) as strain,
        p.picked_on,
        sum(p.fresh_weight_g) as fresh_g
    from unit_pickings as p
    inner join unit_states as s on s.unit = p.unit
    inner join batches as b on b.line = s.batch_line
    group by p.unit, s.batch_line, lower(b.strain), p.picked_on
),
in_order as (
    -- By names, and not by lines: in whichever files and rows they stand, the same units get the same.
    select unit, row_number() over (order by batch, container nulls first) as place
    from unit_states
),
matched as (
    select o.pool, p.unit, sum(p.fresh_g) as fresh_g
    from sale_pools as o
    inner join picked as p on p.batch_line = o.batch_line
    where p.picked_on <= o.sold_on and (o.picked_on is null or p.picked_on = o.picked_on)
    group by o.pool, p.unit
    union all
    select o.pool, p.unit, sum(p.fresh_g)
    from sale_pools as o
    inner join picked as p on p.picked_on = o.picked_on
    where o.batch_line is null and (o.strain is null or o.strain = p.strain)
    group by o.pool, p.unit
    union all
    select o.pool, p.unit, sum(p.fresh_g)
    from sale_pools as o
    inner join picked as p
        on p.picked_on <= o.sold_on and p.picked_on >= o.sold_on - getvariable('shelf_days')::integer
    where o.batch_line is null and o.picked_on is null and (o.strain is null or o.strain = p.strain)
    group by o.pool, p.unit
),
summed as (
    select
        m.pool,
        m.unit,
        (sum(m.fresh_g) over up_to * 1000)::hugeint as up_to_mg,
        (m.fresh_g * 1000)::hugeint as own_mg,
        (sum(m.fresh_g) over (partition by m.pool) * 1000)::hugeint as all_mg
    from matched as m
    inner join in_order as i on i.unit = m.unit
    window up_to as (partition by m.pool order by i.place)
),
parts as (
    -- Each gets what its own and those before it come to, less what those before it do: nothing is lost or made.
    select
        o.pool,
        s.unit,
        o.sold_on as day,
        o.batch_line is null as shared,
        case when s.unit is null then o.sold_mg
            else o.sold_mg * s.up_to_mg // s.all_mg - o.sold_mg * (s.up_to_mg - s.own_mg) // s.all_mg end as sold_mg,
        case when s.unit is null then o.given_mg
            else o.given_mg * s.up_to_mg // s.all_mg - o.given_mg * (s.up_to_mg - s.own_mg) // s.all_mg end as given_mg,
        case when s.unit is null then o.discarded_mg
            else o.discarded_mg * s.up_to_mg // s.all_mg - o.discarded_mg * (s.up_to_mg - s.own_mg) // s.all_mg
        end as discarded_mg,
        case when s.unit is null then o.paid
            else o.paid * s.up_to_mg // s.all_mg - o.paid * (s.up_to_mg - s.own_mg) // s.all_mg end as paid,
        case when s.unit is null or s.up_to_mg = s.own_mg then o.unpaid else 0 end as unpaid,
        o.unpaid > 0 as unpriced
    from sale_pools as o
    left join summed as s on s.pool = o.pool
)
select
    unit,
    day,
    shared,
    (sold_mg * 0.001::decimal(4, 3))::decimal(38, 3) as sold_g,
    (given_mg * 0.001::decimal(4, 3))::decimal(38, 3) as given_g,
    (discarded_mg * 0.001::decimal(4, 3))::decimal(38, 3) as discarded_g,
    (paid * 0.000001::decimal(7, 6))::decimal(38, 6) as revenue,
    unpaid,
    unpriced
from parts
union all
select
    k.unit,
    k.picked_on,
    false,
    0,
    0,
    0,
    coalesce(k.fresh_g / 1000 * f.unit_price, 0)::decimal(38, 6),
    case when f.unit_price is null then 1 else 0 end,
    f.unit_price is null
from picked as k
inner join unit_picking_prices as f on f.unit = k.unit and f.picked_on = k.picked_on
where not exists (select line from sales)
