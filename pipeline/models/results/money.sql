-- What did each group bring and cost? A sale of which no picking can be told is in the row without a group (group_id null).
-- Masses in g, money in the farm's currency.
-- Grain: one row per group, and one for what is of none.
-- reads: unit_costs, unit_groups, unit_sales, unit_sizes, unit_states
-- writes: nothing
with grouped as (
    select u.unit, g.group_id, z.containers, s.fresh_g, s.finished
    from unit_states as u
    inner join unit_groups as g on g.unit = u.unit
    inner join unit_sizes as z on z.unit = u.unit
    inner join unit_states as s on s.unit = u.unit
),
counted as (
    select
        group_id,
        count(*) as units,
        sum(containers) as containers,
        count(*) filter (where not finished) as units_open,
        sum(fresh_g) as picked_g
    from grouped
    group by group_id
),
sold as (
    select
        g.group_id,
        sum(s.sold_g) as sold_g,
        sum(s.given_g) as given_g,
        sum(s.discarded_g) as discarded_g,
        sum(s.revenue) as revenue,
        sum(case when s.shared then s.revenue else 0 end) as revenue_shared,
        sum(s.unpaid) as unpaid
    from unit_sales as s
    left join grouped as g on g.unit = s.unit
    group by g.group_id
),
spent as (
    select
        g.group_id,
        sum(c.cost) as cost,
        sum(c.days) as container_days,
        string_agg(distinct c.lacks, ', ' order by c.lacks) as lacks
    from unit_costs as c
    inner join grouped as g on g.unit = c.unit
    group by g.group_id
)
select
    coalesce(c.group_id, s.group_id) as group_id,
    coalesce(c.units, 0) as units,
    coalesce(c.units_open, 0) as units_open,
    c.containers::bigint as containers,
    p.container_days::bigint as container_days,
    coalesce(c.picked_g, 0) as picked_g,
    coalesce(s.sold_g, 0) as sold_g,
    coalesce(s.given_g, 0) as given_g,
    coalesce(s.discarded_g, 0) as discarded_g,
    coalesce(s.revenue, 0) as revenue,
    coalesce(s.revenue_shared, 0) as revenue_shared,
    coalesce(s.unpaid, 0)::bigint as sales_unpaid,
    coalesce(p.cost, 0) as cost,
    coalesce(p.lacks, '') as lacks
from counted as c
full join sold as s on s.group_id = c.group_id
left join spent as p on p.group_id = c.group_id
order by group_id nulls last
