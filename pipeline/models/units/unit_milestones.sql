-- On which day did each unit come how far, up to the as-of date? Days null where nothing is noted. passed: by a later event it
-- is known that it came past pins, or past the first flush.
-- Grain: one row per unit.
-- reads: unit_flushes, unit_pins, unit_seen, unit_states
-- writes: unit_milestones
create or replace temp table unit_milestones as
with events as (
    select
        unit,
        min(seen_on) filter (where event = 'colonised') as colonised_on,
        min(seen_on) filter (where event = 'opened' and coalesce(flush, 1) = 1) as opened_on
    from unit_seen
    where event in ('colonised', 'opened')
    group by unit
),
pins as (
    select unit, min(seen_on) filter (where flush = 1) as pins_on, max(flush) as highest_pins
    from unit_pins
    group by unit
),
first_flush as (
    select unit, first_day from unit_flushes where flush = 1
)
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
