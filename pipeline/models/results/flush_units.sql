-- Which units were started, how far is each known, and to which flush did its group and the farm come? Days in days, masses in
-- g. held_days: how long it held its room, null while it does. by_choice: it was emptied or refilled. known_through: as in
-- unit_states.
-- Grain: one row per unit of a dated batch.
-- reads: unit_groups, unit_starts, unit_states
-- writes: nothing
with highest as (
    select g.group_id, greatest(max(s.highest_flush), 1) as flush
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    group by g.group_id
),
of_farm as (
    select greatest(max(highest_flush), 1) as flush from unit_states
)
select
    s.unit,
    g.group_id,
    s.soak_no,
    s.age,
    s.containers,
    s.dry_g,
    s.spawn_g,
    coalesce(s.closed_by in ('emptied', 'refilled'), false) as by_choice,
    s.held_to - s.inoculated_on as held_days,
    s.known_through,
    h.flush as group_flushes,
    f.flush as farm_flushes
from unit_starts as s
inner join unit_groups as g on g.unit = s.unit
inner join highest as h on h.group_id = g.group_id
cross join of_farm as f
order by g.group_id, s.unit
