-- Which containers does the question of a trace mean, and what became of them and of all others at the as-of date?
-- Several things asked must all hold. A batch without a soak is its own. What was weighed together on a day was picked
-- from every filling of the batch that had not ended before.  soak: its soak's name, or its own batch's; soak_key tells
-- the two apart. state: running, contaminated, emptied, refilled, lapsed. lost: ended without a picking, as in
-- losses.sql.
-- Grain: one row per place that exists at the as-of date: a loaded filling, or a batch without filling rows.
-- reads: batches, closings, filling_fates, fillings, harvest_assignments, unit_states
-- writes: trace_scope
create or replace temp table trace_scope as
with present as (
    select line, batch, soak, coalesce('soak ' || soak, 'batch ' || batch) as soak_key, spawn_lot, inoculated_on
    from batches
    where inoculated_on is null or inoculated_on <= getvariable('as_of')
),
soaks_named as (
    select distinct soak from present where soak is not null
),
ended as (
    select batch_line, filling_line, closed_on, closed_by
    from closings
    where closed_on <= getvariable('as_of')
),
on_the_day as (
    select distinct batch_line, filling_line
    from harvest_assignments
    where picked_on = getvariable('trace_picked')
),
assignments as (
    select f.line as place, f.batch_line, f.container, e.closed_on, e.closed_by, t.finished, t.picked, t.cause
    from fillings as f
    inner join filling_fates as t on t.unit = f.line
    left join ended as e on e.filling_line = f.line
    union all
    select s.unit, s.batch_line, null, s.closed_on, s.closed_by, s.finished, s.highest_flush > 0, s.cause
    from unit_states as s
    where s.container is null and s.batch_line not in (select batch_line from fillings)
)
select
    p.place,
    p.batch_line,
    b.batch,
    p.container,
    coalesce(b.soak, b.batch) as soak,
    b.soak_key,
    b.spawn_lot,
    b.inoculated_on,
    p.closed_on,
    case when p.closed_by is not null then p.closed_by when p.finished then 'lapsed' else 'running' end as state,
    case when p.closed_by = 'contaminated' then nullif(p.cause, '') end as cause,
    p.finished,
    p.picked,
    p.finished and not p.picked as lost,
    (getvariable('trace_spawn_lot') is null or coalesce(b.spawn_lot = getvariable('trace_spawn_lot'), false))
    and (
        getvariable('trace_soak') is null
        or coalesce(b.soak = getvariable('trace_soak'), false)
        -- A batch that is its own soak goes by its own name, unless a soak is called so.
        or (
            b.soak is null
            and b.batch = getvariable('trace_soak')
            and getvariable('trace_soak') not in (select soak from soaks_named)
        )
    )
    and (getvariable('trace_batch') is null or b.batch = getvariable('trace_batch'))
    and (getvariable('trace_container') is null or coalesce(p.container = getvariable('trace_container'), false))
    and (
        getvariable('trace_picked') is null
        or p.place in (select coalesce(filling_line, batch_line) from on_the_day)
        or (
            p.batch_line in (select batch_line from on_the_day where filling_line is null)
            and coalesce(p.closed_on >= getvariable('trace_picked'), true)
        )
    ) as traced
from assignments as p
inner join present as b on b.line = p.batch_line
