-- What did each unit bring and cost, for a comparison? *_followed: through the flush or to the age asked for; its pickings
-- at the price of their day, for sales are not tied to flushes. The others: of the whole cycle; revenue is of sales where
-- the farm logs them. In money; null where a price, a quantity or what a sale brought is not known, or where it was picked
-- before sales were logged. What has no price anywhere counts as nothing (unpriced). sold_out: whether what it gave is no
-- longer to be sold, by shelf days. sells: whether the farm logs sales.
-- Grain: one row per unit.
-- reads: batches, counted_pickings, sales, unit_costs, unit_picking_prices, unit_sales, unit_states
-- writes: nothing
with spent as (
    select
        unit,
        coalesce(sum(cost), 0) as cost,
        coalesce(sum(cost) filter (where followed), 0) as cost_followed,
        count(*) filter (where lacks is not null and not everywhere) as lacking,
        count(*) filter (where lacks is not null and not everywhere and followed) as lacking_followed
    from unit_costs
    group by unit
),
brought as (
    select unit, sum(revenue) as revenue, count(*) filter (where unpriced) as unpriced
    from unit_sales
    group by unit
),
gave as (
    select
        c.unit,
        sum(c.fresh_weight_g / 1000 * p.unit_price) as revenue,
        count(*) filter (where p.unit_price is null) as unpriced
    from counted_pickings as c
    inner join unit_picking_prices as p on p.unit = c.unit and p.picked_on = c.picked_on
    group by c.unit
),
logged as (
    select min(sold_on) - getvariable('shelf_days')::integer as since from sales
),
soaks as (
    select
        d.soak_key,
        coalesce(sum(g.unpriced), 0) as unpriced_followed,
        coalesce(sum(b.unpriced), 0) as unpriced,
        coalesce(min(s.first_picked), max(s.closed_on), max(s.lapses_on)) as seen_from
    from unit_states as s
    inner join batches as d on d.line = s.batch_line
    left join gave as g on g.unit = s.unit
    left join brought as b on b.unit = s.unit
    group by d.soak_key
)
select
    s.unit,
    case when k.unpriced_followed = 0 then coalesce(g.revenue, 0) end::double as revenue_followed,
    case when c.lacking_followed = 0 then c.cost_followed end::double as cost_followed,
    case when k.unpriced = 0 and coalesce(k.seen_from >= l.since, true) then coalesce(b.revenue, 0) end::double as revenue,
    case when c.lacking = 0 then c.cost end::double as cost,
    s.last_picked is null or l.since is null
        or s.last_picked + getvariable('shelf_days')::integer <= getvariable('as_of') as sold_out,
    l.since is not null as sells
from unit_states as s
cross join logged as l
inner join batches as d on d.line = s.batch_line
inner join soaks as k on k.soak_key = d.soak_key
left join spent as c on c.unit = s.unit
left join brought as b on b.unit = s.unit
left join gave as g on g.unit = s.unit
order by s.unit
