-- How long did each unit wait for pins, and how does it stand? Days in days. fate: noted; lost (closed or lapsed
-- without pins); waiting; or unnoted (picked from without a note of pins: that unit, and every unit of a batch of which
-- no unit that was picked from has such a note).
-- Grain: one row per unit of a dated batch.
-- reads: unit_starts, unit_waits
-- writes: unit_pinning
create or replace temp table unit_pinning as
with waited as (
    select unit, days, state from unit_waits where place = 2
),
silent_batches as (
    select u.batch_line
    from unit_starts as u
    left join waited as w on w.unit = u.unit
    where u.highest_flush > 0
    group by u.batch_line
    having count(w.days) = 0
)
select
    u.unit,
    u.batch_line,
    u.soak_no,
    case
        when b.batch_line is not null or w.unit is null then 'unnoted'
        when w.state = 'noted' then 'noted'
        when w.state = 'lost' then 'lost'
        else 'waiting'
    end as fate,
    case w.state when 'noted' then w.days when 'lost' then u.held_to - u.inoculated_on else u.age end as days
from unit_starts as u
left join waited as w on w.unit = u.unit
left join silent_batches as b on b.batch_line = u.batch_line
