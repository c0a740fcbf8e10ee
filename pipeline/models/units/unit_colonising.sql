-- How long did each unit take to be colonised, and how does it stand? Days in days. fate: noted; lost (closed or lapsed
-- before it was colonised); waiting; or unnoted (pins or a picking without a note that it was colonised: that unit, and
-- every unit of its batch where none of them has such a note).
-- Grain: one row per unit of a dated batch.
-- reads: unit_pins, unit_starts, unit_waits
-- writes: unit_colonising
create or replace temp table unit_colonising as
with waited as (
    select unit, days, state from unit_waits where place = 1
),
pins as (
    select distinct unit from unit_pins
),
silent_batches as (
    select u.batch_line
    from unit_starts as u
    left join waited as w on w.unit = u.unit
    left join pins as p on p.unit = u.unit
    group by u.batch_line
    having count(w.days) = 0 and bool_or(u.highest_flush > 0 or p.unit is not null)
)
select
    u.unit,
    u.batch_line,
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
