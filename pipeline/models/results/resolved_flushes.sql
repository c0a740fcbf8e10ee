-- How does each unit stand to each flush that its group came to, and what did it give? Ages in days, masses in g.
-- oldest_resolved: how old a unit of the farm that gave this flush or the first was at most when this one was told; null for
-- none.
-- Grain: one row per unit of a dated batch and flush, from 1 to its group's highest picked.
-- reads: unit_groups, unit_resolutions, unit_starts, unit_states
-- writes: nothing
with highest as (
    select g.group_id, max(s.highest_flush) as flush
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    group by g.group_id
),
oldest as (
    select flush, max(resolved_age) filter (where fresh_g > 0 or fresh_g_first > 0) as resolved_age
    from unit_resolutions
    group by flush
)
select
    s.unit,
    g.group_id,
    s.soak_no,
    s.age,
    r.flush,
    r.resolved_age,
    r.fresh_g,
    r.fresh_g_first,
    o.resolved_age as oldest_resolved
from unit_starts as s
inner join unit_groups as g on g.unit = s.unit
inner join highest as h on h.group_id = g.group_id
inner join unit_resolutions as r on r.unit = s.unit and r.flush <= greatest(h.flush, 1)
inner join oldest as o on o.flush = r.flush
order by r.flush, g.group_id, s.unit
