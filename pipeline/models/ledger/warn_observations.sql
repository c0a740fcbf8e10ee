-- Which loaded observations of pins were entered for after the picking that should have followed them? With a flush:
-- after that flush was picked. Without one: the filling's first pins, within a flush's gap after its first picking.
-- Grain: one row per rule that a loaded observation breaks.
-- reads: files, flush_rule, observation_assignments, picked_flushes
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
broken as (
    select p.line, p.seen_on, k.first_day
    from pins as p
    inner join picked_flushes as k on k.filling_line = p.filling_line and k.flush = p.flush
    where k.first_day < p.seen_on
    union all
    select p.line, p.seen_on, k.first_day
    from pins as p
    inner join first_picked as k on k.filling_line = p.filling_line
    where p.flush is null
        and p.turn = 1
        and k.first_day < p.seen_on
        and p.seen_on - k.first_day < (select new_flush_after_days from flush_rule)
)
select 'observations' as table_name, f.file, row_of(t.line) as row, 'pins_after_picking' as rule, t.seen_on::varchar as value,
    t.first_day::varchar as detail, null::varchar as waits_file, null::integer as waits_row
from broken as t
inner join files as f on f.file_part = file_part_of(t.line)
