-- How do the flushes of each group of units follow each other? Masses in g. Mass per container is null where containers
-- are unlike.
-- Grain: one row per group and flush, from 1 to the group's highest picked.
-- reads: unit_flushes, unit_groups, unit_sizes, unit_states
-- writes: nothing
with found as (
    select g.group_id, s.unit, s.known_through, s.finished, s.highest_flush, z.containers, z.size
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    inner join unit_sizes as z on z.unit = s.unit
),
flush_numbers as (
    select group_id, unnest(range(1, greatest(max(highest_flush), 1) + 1)) as flush from found group by group_id
),
finished as (
    select t.group_id, sum(f.fresh_g) as fresh_g
    from found as t
    inner join unit_flushes as f on f.unit = t.unit
    where t.finished
    group by t.group_id
),
counted as (
    select
        n.group_id,
        n.flush,
        count(*) filter (where t.known_through >= n.flush) as units_known,
        count(*) filter (where t.known_through < n.flush) as units_not_yet,
        sum(own.fresh_g) filter (where t.known_through >= n.flush) as fresh_g,
        sum(first.fresh_g) filter (where t.known_through >= n.flush) as fresh_g_first,
        sum(own.fresh_g) filter (where t.known_through >= n.flush and t.containers is not null) as contained_fresh,
        sum(t.containers) filter (where t.known_through >= n.flush) as contained_in,
        coalesce(
            count(distinct t.size) filter (where t.known_through >= n.flush and t.containers is not null) = 1
            and bool_and(t.size is not null) filter (where t.known_through >= n.flush and t.containers is not null),
            false
        ) as alike,
        sum(own.fresh_g) filter (where t.finished) as fresh_g_finished,
        coalesce(sum(own.pickings), 0)::bigint as pickings,
        coalesce(sum(own.pickings_derived), 0)::bigint as pickings_derived
    from flush_numbers as n
    inner join found as t on t.group_id = n.group_id
    left join unit_flushes as own on own.unit = t.unit and own.flush = n.flush
    left join unit_flushes as first on first.unit = t.unit and first.flush = 1
    group by n.group_id, n.flush
)
select
    c.group_id,
    c.flush,
    c.units_known,
    c.units_not_yet,
    coalesce(c.fresh_g, 0)::double as fresh_g,
    case when c.alike then coalesce(c.contained_fresh, 0)::double / nullif(c.contained_in::double, 0) end
        as fresh_g_per_container,
    100 * coalesce(c.fresh_g_finished, 0)::double / nullif(f.fresh_g::double, 0) as share_pct,
    coalesce(c.fresh_g, 0)::double / nullif(c.fresh_g_first::double, 0) as decline_vs_first,
    c.pickings,
    c.pickings_derived,
    100 * c.pickings_derived::double / nullif(c.pickings, 0) as derived_pct
from counted as c
left join finished as f on f.group_id = c.group_id
order by c.group_id, c.flush
