-- At what age was each flush of each unit known, and what did it give? Ages in days, masses in g. A flush is known when
-- the unit is closed or lapsed, when pins or a picking of a later flush are there, or when its last picking is
-- flush_settled_days old (settled_on): on the first of these days. resolved_age null: the unit still produces it.
-- Grain: one row per unit of a dated batch and flush, from 1 to the highest picked on the farm.
-- reads: unit_flushes, unit_pins, unit_starts, unit_states
-- writes: unit_resolutions
create or replace temp table unit_resolutions as
with numbers as (
    select unnest(range(1, greatest(max(highest_flush), 1) + 1)) as flush from unit_states
),
later_picked as (
    select n.flush, f.unit, min(f.first_day) as seen_on
    from numbers as n
    inner join unit_flushes as f on f.flush > n.flush
    group by n.flush, f.unit
),
later_pins as (
    select n.flush, p.unit, min(p.seen_on) as seen_on
    from numbers as n
    inner join unit_pins as p on p.flush > n.flush
    group by n.flush, p.unit
)
select
    u.unit,
    n.flush,
    case
        when u.known_through >= n.flush
            then least(
                u.held_to,
                p.seen_on,
                i.seen_on,
                case when own.settled_on <= getvariable('as_of') then own.settled_on end
            ) - u.inoculated_on
    end as resolved_age,
    coalesce(own.fresh_g, 0) as fresh_g,
    coalesce(first.fresh_g, 0) as fresh_g_first,
    own.last_day - u.inoculated_on as last_age
from unit_starts as u
cross join numbers as n
left join later_picked as p on p.unit = u.unit and p.flush = n.flush
left join later_pins as i on i.unit = u.unit and i.flush = n.flush
left join unit_flushes as own on own.unit = u.unit and own.flush = n.flush
left join unit_flushes as first on first.unit = u.unit and first.flush = 1
