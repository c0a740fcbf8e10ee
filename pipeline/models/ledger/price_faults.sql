-- Which rows of prices cannot be used, beside those that repeat another? Another price for one thing from one day; a
-- unit that does not fit the item; a pint, where farm.toml does not tell what it weighs.
-- Grain: one row per such row.
-- reads: repeats_of_prices, rows_of_prices
-- writes: price_faults
create or replace temp table price_faults as
with usable as (
    select p.line, p.from_on, p.item, lower(p.name) as name, lower(p.buyer) as buyer, p.per,
        p.file || ', row ' || p.row as place
    from rows_of_prices as p
    anti join repeats_of_prices as r on r.line = p.line
    where not p.faulty
),
units as (
    select line,
        case
            when item in ('fresh', 'spawn', 'substrate', 'supplement')
                and per not in ('kg', 'g', 'lb', 'oz', 'pint') then item || ' is weighed'
            when item in ('lime', 'start') and per not in ('container', 'batch')
                then 'what ' || item || ' costs can be worked out'
            when item = 'container_day' and per <> 'day' then 'a day of a container is counted'
            when item = 'work_hour' and per <> 'hour' then 'work is counted'
        end as wrong,
        per = 'pint' and (item <> 'fresh' or getvariable('kg_per')['pint'] is null) as unknown_pint
    from usable
),
conflicts as (
    select from_on, item, name, buyer, some_of(list(place order by place)) as places
    from usable
    group by from_on, item, name, buyer
    having count(*) > 1
)
select line, 'wrong_unit' as rule, wrong as detail
from units
where wrong is not null
union all
select line, 'pint_unknown', null
from units
where wrong is null and unknown_pint
union all
select u.line, 'conflicting', c.places
from usable as u
inner join conflicts as c
    on c.from_on = u.from_on and c.item = u.item and c.name is not distinct from u.name
    and c.buyer is not distinct from u.buyer
inner join units as n on n.line = u.line
where n.wrong is null and not n.unknown_pint
