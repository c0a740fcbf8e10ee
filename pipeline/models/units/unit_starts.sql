-- Which units were started when, out of which soak, and what went into them? soak_no: the number of that soak. age: days
-- from inoculation to the as-of date. containers: of a whole batch its fillings, else containers_filled; null where neither
-- is known. held_to: the day its place was free again, null while it runs. Masses in g. Units of batches without a day of
-- inoculation are in no row.
-- Grain: one row per unit of a dated batch.
-- reads: batches, filling_shares, unit_states
-- writes: unit_starts
create or replace temp table unit_starts as
with filled as (
    select batch_line, count(*) as fillings from filling_shares group by batch_line
),
started as (
    -- Soaks are numbered over batches, which are fewer than units.
    select
        line,
        dense_rank() over (order by soak_key) as soak_no,
        containers_filled
    from batches
    where inoculated_on <= getvariable('as_of')
)
select
    s.unit,
    s.batch_line,
    b.soak_no,
    s.inoculated_on,
    getvariable('as_of') - s.inoculated_on as age,
    case when s.container is not null then 1 else coalesce(f.fillings, b.containers_filled) end as containers,
    s.dry_g,
    s.spawn_g,
    s.closed_by,
    case when s.finished then least(s.closed_on, s.lapses_on) end as held_to,
    s.known_through,
    s.highest_flush
from unit_states as s
inner join started as b on b.line = s.batch_line
left join filled as f on f.batch_line = s.batch_line
where s.inoculated_on is not null
