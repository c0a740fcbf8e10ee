-- How long are the waits of each group of units, in calendar days?
-- Grain: one row per group and wait.
-- reads: unit_groups, unit_states, unit_waits
-- writes: nothing
with highest as (
    select g.group_id, max(s.highest_flush) as flush
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    group by g.group_id
),
listed as (
    select h.group_id, w.place, w.wait
    from highest as h
    cross join (
        values (1, 'inoculated_to_colonised'), (2, 'inoculated_to_pins'), (3, 'inoculated_to_first_pick'),
            (4, 'opened_to_pins'), (5, 'pins_to_first_pick'), (32767, 'cycle')
    ) as w(place, wait)
    union all
    select group_id, 5 + flush, 'flush_' || flush || '_to_' || (flush + 1)
    from (select group_id, unnest(range(1, greatest(flush, 2))) as flush from highest)
)
select
    l.group_id,
    l.wait,
    count(w.days) as n,
    avg(w.days) as mean_days,
    quantile_cont(w.days, 0.5) as median_days,
    quantile_cont(w.days, 0.25) as q1_days,
    quantile_cont(w.days, 0.75) as q3_days,
    count(*) filter (where w.state = 'not yet') as units_not_yet,
    count(*) filter (where w.state = 'lost') as units_lost
from listed as l
left join (
    select g.group_id, w.wait, w.days, w.state
    from unit_waits as w
    inner join unit_groups as g on g.unit = w.unit
) as w on w.group_id = l.group_id and w.wait = l.wait
group by l.group_id, l.place, l.wait
order by l.group_id, l.place
