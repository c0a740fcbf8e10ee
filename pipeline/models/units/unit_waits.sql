-- How long was each wait of each unit, or how does it stand? days: null unless both days are noted. state: noted, lost
-- (ended without it), not yet (running without it). A unit that passed an event without a note of it, or noted its end
-- before its begin, is not listed for that wait. place: of the wait among all, as numbered below; one wait is quicker found by
-- it than by its name.
-- Grain: one row per unit and wait that it began.
-- reads: unit_flushes, unit_milestones, unit_states
-- writes: unit_waits
create or replace temp view unit_waits as
with waits as (
    select 1 as place, 'inoculated_to_colonised' as wait, unit, finished, inoculated_on as begins, colonised_on as ends,
        pinned_or_picked as passed
    from unit_milestones
    union all
    select 2, 'inoculated_to_pins', unit, finished, inoculated_on, pins_on, past_pins
    from unit_milestones
    union all
    select 3, 'inoculated_to_first_pick', unit, finished, inoculated_on, first_picked, false
    from unit_milestones
    union all
    select 4, 'opened_to_pins', unit, finished, opened_on, pins_on, past_pins
    from unit_milestones
    union all
    select 5, 'pins_to_first_pick', unit, finished, pins_on, first_flush_picked, past_first_flush
    from unit_milestones
    union all
    select 5 + k.flush, 'flush_' || k.flush || '_to_' || (k.flush + 1), k.unit, s.finished, k.first_day, n.first_day,
        s.highest_flush > k.flush + 1
    from unit_flushes as k
    inner join unit_states as s on s.unit = k.unit
    left join unit_flushes as n on n.unit = k.unit and n.flush = k.flush + 1
    union all
    select 32767, 'cycle', unit, finished, inoculated_on, closed_on, false
    from unit_milestones
)
select
    place,
    wait,
    unit,
    ends - begins as days,
    case when ends is not null then 'noted' when finished then 'lost' else 'not yet' end as state
from waits
where begins is not null and (ends >= begins or (ends is null and not passed))
