-- How long was each wait of each unit, or how does it stand? days: null unless both days are noted. state: noted, lost
-- (ended without it), not yet (running without it). A unit that passed an event without a note of it, or noted its end
-- before its begin, is not listed for that wait.
-- Grain: one row per unit and wait that it began.
-- reads: unit_flushes, unit_pins, unit_seen, unit_states
-- writes: unit_waits
create or replace temp table unit_waits as
with events as (
    select
        unit,
        min(seen_on) filter (where event = 'colonised') as colonised_on,
        min(seen_on) filter (where event = 'opened' and coalesce(flush, 1) = 1) as opened_on
    from unit_seen
    group by unit
),
pins as (
    select unit, min(seen_on) filter (where flush = 1) as pins_on, max(flush) as highest_pins
    from unit_pins
    group by unit
),
first_flush as (
    select unit, first_day from unit_flushes where flush = 1
),
milestones as (
    select
        s.unit,
        s.finished,
        s.closed_on,
        s.inoculated_on,
        e.colonised_on,
        e.opened_on,
        p.pins_on,
        s.first_picked,
        f.first_day as first_flush_picked,
        s.highest_flush > 0 or p.unit is not null as pinned_or_picked,
        s.highest_flush > 0 or coalesce(p.highest_pins > 1, false) as past_pins,
        s.highest_flush > 1 as past_first_flush
    from unit_states as s
    left join events as e on e.unit = s.unit
    left join pins as p on p.unit = s.unit
    left join first_flush as f on f.unit = s.unit
),
waits as (
    select 1 as place, 'inoculated_to_colonised' as wait, unit, finished, inoculated_on as begins, colonised_on as ends,
        pinned_or_picked as passed
    from milestones
    union all
    select 2, 'inoculated_to_pins', unit, finished, inoculated_on, pins_on, past_pins
    from milestones
    union all
    select 3, 'inoculated_to_first_pick', unit, finished, inoculated_on, first_picked, false
    from milestones
    union all
    select 4, 'opened_to_pins', unit, finished, opened_on, pins_on, past_pins
    from milestones
    union all
    select 5, 'pins_to_first_pick', unit, finished, pins_on, first_flush_picked, past_first_flush
    from milestones
    union all
    select 5 + k.flush, 'flush_' || k.flush || '_to_' || (k.flush + 1), k.unit, s.finished, k.first_day, n.first_day,
        s.highest_flush > k.flush + 1
    from unit_flushes as k
    inner join unit_states as s on s.unit = k.unit
    left join unit_flushes as n on n.unit = k.unit and n.flush = k.flush + 1
    union all
    select 32767, 'cycle', unit, finished, inoculated_on, closed_on, false
    from milestones
)
select
    place,
    wait,
    unit,
    ends - begins as days,
    case when ends is not null then 'noted' when finished then 'lost' else 'not yet' end as state
from waits
where begins is not null and (ends >= begins or (ends is null and not passed))
