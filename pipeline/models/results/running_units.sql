-- What can still be picked from at the as-of date, and what did it last give? Weights in g. A whole batch is one row
-- (container null: weighed together); its fillings that have not ended stand beside it, so that a container can still
-- be weighed by itself. most_g: that one picking of it can be. last_flush and flush_proposed count as derived_flushes.sql does.
-- Grain: one row per running unit, and one per filling of a running whole batch that has not ended.
-- reads: batches, closings, filling_most, fillings, harvest_assignments, unit_states
-- writes: nothing
with running as (
    select unit, batch_line, container from unit_states where not finished
),
ended as (
    select filling_line from closings where filling_line is not null and closed_on <= getvariable('as_of')
),
assignments as (
    select unit as place_line, batch_line from running
    union all
    select f.line, f.batch_line
    from fillings as f
    inner join running as r on r.unit = f.batch_line
    anti join ended as e on e.filling_line = f.line
),
pickings as (
    select coalesce(filling_line, batch_line) as place_line, line, picked_on, fresh_weight_g, flush
    from harvest_assignments
    where picked_on <= getvariable('as_of')
),
latest as (
    select place_line, line, picked_on, fresh_weight_g, flush, row_number() over newest as back
    from pickings
    where place_line in (select place_line from assignments)
    window newest as (partition by place_line order by picked_on desc, line desc)
),
weights as (
    select
        place_line,
        string_agg(rtrim(rtrim(fresh_weight_g::varchar, '0'), '.'), ', ' order by back) as last_weights_g,
        string_agg(flush::varchar, ', ' order by back) as last_flushes
    from latest
    where back <= 3
    group by place_line
),
picked as (
    select
        place_line,
        count(*) as pickings,
        max(picked_on) as last_picked_on,
        arg_max(flush, (picked_on, flush)) as last_flush
    from pickings
    group by place_line
)
select
    f.room,
    f.position,
    f.container,
    b.batch,
    f.kind,
    b.inoculated_on,
    coalesce(p.pickings, 0) as pickings,
    p.last_picked_on,
    p.last_flush,
    w.last_weights_g,
    w.last_flushes,
    m.most_g,
    case
        when p.last_flush is null then 1
        when getvariable('as_of') - p.last_picked_on >= getvariable('new_flush_after_days') then p.last_flush + 1
        else p.last_flush
    end as flush_proposed
from assignments as l
inner join batches as b on b.line = l.batch_line
left join fillings as f on f.line = l.place_line
left join picked as p on p.place_line = l.place_line
left join weights as w on w.place_line = l.place_line
left join filling_most as m on m.line = l.place_line
