-- Which rows of prices.csv would price what growing took and has no price? One for any name of an item, where it has such a
-- price from another day on or none at all; else one for each name without. per: the unit of such a price.
-- Grain: one row per row to add.
-- reads: prices, unit_costs, unit_needs
-- writes: nothing
with lacking as (
    select distinct unit, item from unit_costs where lacks = item || ' (price)'
),
named_only as (
    select item from prices group by item having count(*) = count(name)
)
select
    min(n.inoculated_on) as from_on,
    n.item,
    case when n.item in (select item from named_only) then coalesce(n.other_name, n.name, '') else '' end as name,
    case n.item
        when 'start' then 'container'
        when 'lime' then 'batch'
        when 'container_day' then 'day'
        when 'work_hour' then 'hour'
        else 'kg'
    end as per
from unit_needs as n
inner join lacking as l on l.unit = n.unit and l.item = n.item
group by all
order by all
