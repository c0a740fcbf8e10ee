-- Which loaded observations of pins were entered for after the picking that should have followed them?
-- With a flush: after that flush was picked. Without one: the filling's first pins, within a flush's gap after its
-- first picking.
-- Grain: one row per rule that a loaded observation breaks.
insert into row_findings
with pins as (
    select
        file,
        row,
        batch,
        container,
        seen_on,
        flush,
        row_number() over (partition by batch, container order by seen_on, file, row) as turn
    from observations
    where event = 'pins' and container is not null
),
first_picked as (
    select batch, container, min(first_day) as first_day from picked_flushes group by batch, container
)
select 'observations', p.file, p.row, 'pins_after_picking', p.seen_on::varchar, k.first_day::varchar,
    null::varchar, null::integer
from pins as p
inner join picked_flushes as k on k.batch = p.batch and k.container = p.container and k.flush = p.flush
where k.first_day < p.seen_on
union all
select 'observations', p.file, p.row, 'pins_after_picking', p.seen_on::varchar, k.first_day::varchar, null, null
from pins as p
inner join first_picked as k on k.batch = p.batch and k.container = p.container
where p.flush is null
    and p.turn = 1
    and k.first_day < p.seen_on
    and p.seen_on - k.first_day < getvariable('new_flush_after_days')
