-- Which loaded observations were entered for after what should have followed them? Pins with a flush: after that flush
-- was picked. Without one: the filling's first pins, within a flush's gap after its first picking. Contaminations: after
-- their filling was emptied, or its container filled anew. Counts: above the containers of their batch.
-- Grain: one row per rule that a loaded observation breaks.
-- reads: batches, closings, files, filling_shares, flush_rule, observation_assignments, picked_flushes
-- writes: warn_observations
create or replace temp table warn_observations as
with pins as (
    select
        line,
        filling_line,
        seen_on,
        flush,
        row_number() over (partition by filling_line order by seen_on, line) as turn
    from observation_assignments
    where event = 'pins' and filling_line is not null
),
first_picked as (
    select filling_line, min(first_day) as first_day
    from picked_flushes
    where filling_line is not null
    group by filling_line
),
late as (
    select o.line, o.seen_on, o.filling_line, f.refilled_on
    from observation_assignments as o
    inner join filling_shares as f on f.line = o.filling_line
    where o.event = 'contaminated'
),
counted as (
    select o.line, o.count, coalesce(nullif(count(f.line), 0), min(b.containers_filled)) as containers
    from observation_assignments as o
    inner join batches as b on b.line = o.batch_line
    left join filling_shares as f on f.batch_line = o.batch_line
    where o.filling_line is null and o.count is not null
    group by o.line, o.count
),
broken as (
    select p.line, 'pins_after_picking' as rule, p.seen_on, k.first_day as day
    from pins as p
    inner join picked_flushes as k on k.filling_line = p.filling_line and k.flush = p.flush
    where k.first_day < p.seen_on
    union all
    select p.line, 'pins_after_picking', p.seen_on, k.first_day
    from pins as p
    inner join first_picked as k on k.filling_line = p.filling_line
    where p.flush is null
        and p.turn = 1
        and k.first_day < p.seen_on
        and p.seen_on - k.first_day < (select new_flush_after_days from flush_rule)
    union all
    select l.line, case when c.closed_by = 'emptied' then 'after_emptying' else 'after_refilling' end, l.seen_on, c.closed_on
    from late as l
    inner join closings as c on c.filling_line = l.filling_line
    where c.closed_on < l.seen_on and (c.closed_by = 'emptied' or c.closed_on = l.refilled_on)
),
texts as (
    select line, rule, seen_on::varchar as value, day::varchar as detail from broken
    union all
    select line, 'count_above_containers', count::varchar, containers::varchar
    from counted
    where count > containers
)
select 'observations' as table_name, f.file, row_of(t.line) as row, t.rule, t.value, t.detail,
    null::varchar as waits_file, null::integer as waits_row
from texts as t
inner join files as f on f.file_part = file_part_of(t.line)
