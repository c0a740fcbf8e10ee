-- Which loaded pickings weigh far more or less than is usual on the farm? An aggregate finds the weights, and only
-- pickings of these are looked at.
-- Grain: one row per such picking.
-- reads: files, harvest_assignments
-- writes: warn_weights
create or replace temp table warn_weights as
with assignments as not materialized (
    select line, filling_line is null as pooled, fresh_weight_g from harvest_assignments
),
weights as (
    select pooled, fresh_weight_g, count(*) as pickings from assignments group by pooled, fresh_weight_g
),
running as (
    select
        pooled,
        fresh_weight_g,
        sum(pickings) over (partition by pooled order by fresh_weight_g) as pickings_up_to,
        sum(pickings) over (partition by pooled) as pickings_in_all
    from weights
),
usual as (
    -- The median, where there are enough pickings to make a usual weight.
    select pooled, min(fresh_weight_g)::double as weight_g
    from running
    where pickings_up_to >= pickings_in_all / 2 and pickings_in_all >= getvariable('least_pickings')
    group by pooled
),
odd as (
    select w.pooled, w.fresh_weight_g, u.weight_g, w.fresh_weight_g::double / u.weight_g as times
    from weights as w
    inner join usual as u on u.pooled = w.pooled
    where w.fresh_weight_g::double >= getvariable('times_more') * u.weight_g
        or w.fresh_weight_g::double <= u.weight_g / getvariable('times_less')
),
unlike as (
    select p.line, p.fresh_weight_g, o.weight_g, o.times
    from assignments as p
    inner join odd as o on o.pooled = p.pooled and o.fresh_weight_g = p.fresh_weight_g
),
units as (
    select entry.key as unit, entry.value as times
    from (select unnest(map_entries(getvariable('weight_slips'))) as entry)
),
named as (
    select u.line, u.fresh_weight_g, u.weight_g, u.times, arg_min(units.unit, abs(ln(u.times / units.times))) as unit
    from unlike as u
    cross join units
    group by u.line, u.fresh_weight_g, u.weight_g, u.times
),
texts as (
    select line, 'unlike_usual' as rule, fresh_weight_g::varchar as value,
        case
            when times > 1 then printf('%.0f times the usual %.0f g: %s?', times, weight_g, unit)
            else printf('%.0f times less than the usual %.0f g: is it in %s?', 1 / times, weight_g, unit)
        end as detail
    from named
)
select 'harvests' as table_name, f.file, row_of(t.line) as row, t.rule, t.value, t.detail
from texts as t
inner join files as f on f.file_part = file_part_of(t.line)
