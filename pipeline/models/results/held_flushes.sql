-- How long did each unit hold its room, and what did each of its flushes give? Ages and days in days, masses in g. by_choice:
-- it was emptied or refilled.
-- Grain: one row per unit with a known number of containers and flush.
-- reads: unit_groups, unit_resolutions, unit_starts
-- writes: nothing
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
    r.flush,
    r.resolved_age,
    r.fresh_g,
    r.fresh_g_first,
    r.last_age
from unit_starts as s
inner join unit_groups as g on g.unit = s.unit
inner join unit_resolutions as r on r.unit = s.unit
where s.containers > 0
order by s.unit, r.flush
