-- How did each batch of the month go on, from its inoculation to its end? The first day of any of its units; ended_on:
-- the last day of all of them, null while any is running. Fresh mass in g.
-- Grain: one row per batch that was running on any day of the month.
-- reads: batches, running_batches, unit_seen, unit_states
-- writes: nothing
with colonised as (
    select unit, min(seen_on) as colonised_on from unit_seen where event = 'colonised' group by unit
),
courses as (
    select
        s.batch_line,
        min(s.inoculated_on) as inoculated_on,
        min(c.colonised_on) as colonised_on,
        min(s.first_pins) as pins_on,
        min(s.first_picked) as first_picked_on,
        max(s.last_picked) as last_picked_on,
        case when bool_and(s.finished) then max(coalesce(s.closed_on, s.lapses_on)) end as ended_on,
        count(*) as units,
        count(*) filter (where not s.finished) as units_running,
        count(*) filter (where s.finished and s.highest_flush = 0) as units_lost,
        sum(s.fresh_g)::double as fresh_g
    from unit_states as s
    left join colonised as c on c.unit = s.unit
    where s.batch_line in (select batch_line from running_batches)
    group by s.batch_line
)
select
    b.batch,
    b.substrate,
    coalesce(b.soak, b.batch) as soak,
    c.inoculated_on,
    c.colonised_on,
    c.pins_on,
    c.first_picked_on,
    c.last_picked_on,
    c.ended_on,
    c.units,
    c.units_running,
    c.units_lost,
    c.fresh_g
from courses as c
inner join batches as b on b.line = c.batch_line
order by c.inoculated_on, b.batch
