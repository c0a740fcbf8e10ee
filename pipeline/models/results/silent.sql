-- Of which units has nothing been heard for long? lapsed: treated as ended although nobody said so, since lapses_on.
-- idle: still running, without any entry (picking, observation, inoculation) for idle_days.
-- Grain: one row per lapsed or idle unit.
-- reads: batches, rows_of_fillings, unit_seen, unit_states
-- writes: nothing
with heard as (
    select unit, max(seen_on) as last_seen
    from unit_seen
    where unit in (select unit from unit_states where not finished)
    group by unit
),
found as (
    select
        case when s.container is null then 'batches' else 'fillings' end as table_name,
        coalesce(f.file, b.file) as file,
        coalesce(f.row, b.row) as row,
        s.batch,
        s.container,
        s.lapsed,
        s.finished,
        s.last_picked,
        s.lapses_on,
        greatest(s.last_picked, h.last_seen, s.inoculated_on) as last_entry
    from unit_states as s
    inner join batches as b on b.line = s.batch_line
    left join rows_of_fillings as f on f.line = s.unit
    left join heard as h on h.unit = s.unit
    where s.lapsed or not s.finished
)
select
    table_name,
    file,
    row,
    batch,
    container,
    case when lapsed then 'lapsed' else 'idle' end as rule,
    last_picked,
    case when lapsed then lapses_on else last_entry end as since
from found
where lapsed
    or (not finished and getvariable('as_of') - last_entry >= getvariable('idle_days'))
order by rule desc, since, batch, container
