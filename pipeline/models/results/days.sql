-- How long are the waits of each group of units, in calendar days? Quartiles lie between the two numbers of days about
-- them, in proportion. Few numbers of days come up, so each is counted before anything is told from them.
-- Grain: one row per group and wait.
-- reads: unit_groups, unit_states, unit_waits
-- writes: nothing
with waited as (
    select
        g.group_id,
        w.place,
        w.days,
        count(*) as units,
        count(*) filter (where w.state = 'not yet') as not_yet,
        count(*) filter (where w.state = 'lost') as lost
    from unit_waits as w
    inner join unit_groups as g on g.unit = w.unit
    group by g.group_id, w.place, w.days
),
in_order as (
    -- up_to: how many waited so long at most.
    select
        group_id,
        place,
        days,
        sum(units) over (partition by group_id, place order by days) as up_to,
        sum(units) over (partition by group_id, place) - 1 as last_one
    from waited
    where days is not null
),
about as (
    -- Of so many in order, from 0 on, the one at the quarter; or the two that it lies between.
    select
        o.group_id,
        o.place,
        q.quarter,
        any_value(q.quarter * o.last_one / 4) as spot,
        min(o.days) filter (where o.up_to > floor(q.quarter * o.last_one / 4)) as below,
        min(o.days) filter (where o.up_to > ceil(q.quarter * o.last_one / 4)) as above
    from in_order as o
    cross join (values (1), (2), (3)) as q(quarter)
    group by o.group_id, o.place, q.quarter
),
quartiles as (
    select
        group_id,
        place,
        max(below + (above - below) * (spot - floor(spot))) filter (where quarter = 1) as q1_days,
        max(below + (above - below) * (spot - floor(spot))) filter (where quarter = 2) as median_days,
        max(below + (above - below) * (spot - floor(spot))) filter (where quarter = 3) as q3_days
    from about
    group by group_id, place
),
counted as (
    select
        group_id,
        place,
        sum(units) filter (where days is not null) as n,
        sum(days * units) as days,
        sum(not_yet) as not_yet,
        sum(lost) as lost
    from waited
    group by group_id, place
),
highest as (
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
    coalesce(c.n, 0)::bigint as n,
    c.days::double / nullif(c.n, 0)::double as mean_days,
    q.median_days::double as median_days,
    q.q1_days::double as q1_days,
    q.q3_days::double as q3_days,
    coalesce(c.not_yet, 0)::bigint as units_not_yet,
    coalesce(c.lost, 0)::bigint as units_lost
from listed as l
left join counted as c on c.group_id = l.group_id and c.place = l.place
left join quartiles as q on q.group_id = l.group_id and q.place = l.place
order by l.group_id, l.place
