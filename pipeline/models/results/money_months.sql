-- What did each month bring and cost: sales by their day, costs when they came up? Masses in g, money in the farm's
-- currency. Costs of units without a day of inoculation are in no month.
-- Grain: one row per month with anything picked, sold or paid in it.
-- reads: unit_costs, unit_pickings, unit_sales, unit_sizes, unit_states
-- writes: nothing
with sold as (
    select
        date_trunc('month', day)::date as month,
        sum(sold_g) as sold_g,
        sum(given_g) as given_g,
        sum(discarded_g) as discarded_g,
        sum(revenue) as revenue,
        sum(case when shared then revenue else 0 end) as revenue_shared,
        sum(unpaid) as unpaid
    from unit_sales
    group by date_trunc('month', day)
),
spent as (
    select
        month,
        sum(cost) as cost,
        sum(days) as container_days,
        string_agg(distinct lacks, ', ' order by lacks) as lacks
    from unit_costs
    where month is not null
    group by month
),
picked as (
    select date_trunc('month', picked_on)::date as month, sum(fresh_weight_g) as picked_g
    from unit_pickings
    group by date_trunc('month', picked_on)
),
begun as (
    select
        date_trunc('month', u.inoculated_on)::date as month,
        count(*) as units,
        count(*) filter (where not u.finished) as units_open,
        sum(z.containers) as containers
    from unit_states as u
    inner join unit_sizes as z on z.unit = u.unit
    where u.inoculated_on is not null
    group by date_trunc('month', u.inoculated_on)
),
months as (
    select month from sold union select month from spent union select month from picked union select month from begun
)
select
    strftime(m.month, '%Y-%m') as month,
    coalesce(b.units, 0) as units,
    coalesce(b.units_open, 0) as units_open,
    b.containers::bigint as containers,
    p.container_days::bigint as container_days,
    coalesce(k.picked_g, 0) as picked_g,
    coalesce(s.sold_g, 0) as sold_g,
    coalesce(s.given_g, 0) as given_g,
    coalesce(s.discarded_g, 0) as discarded_g,
    coalesce(s.revenue, 0) as revenue,
    coalesce(s.revenue_shared, 0) as revenue_shared,
    coalesce(s.unpaid, 0)::bigint as sales_unpaid,
    coalesce(p.cost, 0) as cost,
    coalesce(p.lacks, '') as lacks
from months as m
left join begun as b on b.month = m.month
left join sold as s on s.month = m.month
left join spent as p on p.month = m.month
left join picked as k on k.month = m.month
order by m.month
