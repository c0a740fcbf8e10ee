-- Which batch did each container last hold at the as-of date, and when did it end? ended_on: null while it holds it.
-- Grain: one row per container that was filled by the as-of date.
-- reads: closings, fillings
-- writes: nothing
with latest as (
    select container, line, batch, inoculated_on
    from fillings
    where inoculated_on <= getvariable('as_of')
    qualify row_number() over (partition by container order by inoculated_on desc, batch desc) = 1
)
select
    l.container,
    l.batch,
    l.inoculated_on,
    c.closed_on as ended_on
from latest as l
left join closings as c on c.filling_line = l.line and c.closed_on <= getvariable('as_of')
order by try_cast(l.container as bigint) nulls last, l.container
