-- Which rows that are set aside or waiting belong to what is traced, as far as is known? By the row's own cells, by
-- the filling or batch that a set-aside picking would belong to, or by the row it waits for. With a day asked, only
-- pickings of that day, or of no readable day. Mass in g, null where there is none to read; that of a repeated row is
-- counted where it first stands.
-- Grain: one row per row of a file that is set aside or waiting and belongs to the trace.
-- reads: batches, fillings, findings, rejected_pickings, rows_of_batches, rows_of_fillings, rows_of_harvests,
--     rows_of_observations, trace_scope
-- writes: nothing
with faulty as (
    select
        table_name,
        file,
        row,
        min(level) as level,
        arg_min(rule, (level, column_name, rule)) as rule,
        max(waits_file) as waits_file,
        max(waits_row) as waits_row
    from findings
    where level in ('set_aside', 'waiting')
    group by table_name, file, row
),
cells as (
    select 'batches' as table_name, file, row, batch, null::varchar as container, spawn_lot, soak,
        null::date as day, null::decimal(18, 3) as fresh_weight_g, null::ubigint as line
    from rows_of_batches
    union all
    select 'fillings', file, row, batch, container, null, null, null, null, null from rows_of_fillings
    union all
    select 'observations', file, row, batch, container, null, null, seen_on, null, null from rows_of_observations
    union all
    select 'harvests', file, row, batch, container, null, null, picked_on, fresh_weight_g, line from rows_of_harvests
),
rejected as (
    select f.table_name, f.file, f.row, f.level, f.rule, f.waits_file, f.waits_row, c.batch, c.container, c.spawn_lot,
        c.soak, c.day, c.fresh_weight_g, c.line
    from faulty as f
    inner join cells as c on c.table_name = f.table_name and c.file = f.file and c.row = f.row
),
batches_meant as (
    -- Of the loaded batches the traced ones; of the rows set aside those whose cells say so.
    select batch from trace_scope where traced
    union
    select batch
    from rejected
    where table_name = 'batches'
        and batch is not null
        and coalesce(
            getvariable('trace_spawn_lot'), getvariable('trace_soak'), getvariable('trace_batch')
        ) is not null
        and (getvariable('trace_spawn_lot') is null or coalesce(spawn_lot = getvariable('trace_spawn_lot'), false))
        and (getvariable('trace_soak') is null or coalesce(coalesce(soak, batch) = getvariable('trace_soak'), false))
        and (getvariable('trace_batch') is null or batch = getvariable('trace_batch'))
),
fallback as (
    select
        a.table_name,
        a.file,
        a.row,
        a.level,
        a.rule,
        coalesce(b.batch, a.batch, w.batch) as batch,
        coalesce(f.container, a.container) as container,
        a.day,
        a.fresh_weight_g,
        -- A batch's own row, set aside, is meant only by what its own cells say.
        a.table_name <> 'batches'
        or (
            (getvariable('trace_spawn_lot') is null or coalesce(a.spawn_lot = getvariable('trace_spawn_lot'), false))
            and (
                getvariable('trace_soak') is null
                or coalesce(coalesce(a.soak, a.batch) = getvariable('trace_soak'), false)
            )
        ) as cells_agree
    from rejected as a
    left join rejected_pickings as p on p.line = a.line
    left join batches as b on b.line = p.batch_line
    left join fillings as f on f.line = p.filling_line
    left join rejected as w on w.table_name in ('batches', 'fillings') and w.file = a.waits_file and w.row = a.waits_row
)
select
    table_name,
    file,
    row,
    level,
    rule,
    coalesce(batch, '') as batch,
    coalesce(container, '') as container,
    day,
    fresh_weight_g::double as fresh_g
from fallback
where coalesce(day <= getvariable('as_of'), true)
    and cells_agree
    and (
        getvariable('trace_container') is null
        or coalesce(container = getvariable('trace_container'), false)
    )
    and (
        getvariable('trace_picked') is null
        or (table_name = 'harvests' and coalesce(day = getvariable('trace_picked'), true))
    )
    and (
        coalesce(batch in (select batch from batches_meant), false)
        -- A picking without a place may be of any batch; the day, or the container, is all that is known of it.
        or (
            getvariable('trace_spawn_lot') is null
            and getvariable('trace_soak') is null
            and getvariable('trace_batch') is null
            and (getvariable('trace_container') is not null or coalesce(day = getvariable('trace_picked'), false))
        )
    )
order by table_name, file, row
