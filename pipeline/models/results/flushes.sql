-- How do the flushes of each group of units follow each other? Masses in g. Mass per container is null where containers
-- are unlike. Units, and what they gave, are summed first by how far they are known: a farm has far fewer such sums than
-- units.
-- Grain: one row per group and flush, from 1 to the group's highest picked.
-- reads: unit_flushes, unit_groups, unit_sizes, unit_states
-- writes: nothing
with found as (
    select g.group_id, s.unit, s.known_through, s.finished, s.highest_flush, z.containers, z.size
    from unit_groups as g
    inner join unit_states as s on s.unit = g.unit
    inner join unit_sizes as z on z.unit = s.unit
),
started as (
    select
        group_id,
        known_through,
        max(highest_flush) as highest_flush,
        count(*) as units,
        count(containers) as units_contained,
        sum(containers) as containers,
        count(size) filter (where containers is not null) as units_sized,
        min(size) filter (where containers is not null) as first_size,
        max(size) filter (where containers is not null) as last_size
    from found
    group by group_id, known_through
),
gave as (
    select
        t.group_id,
        f.flush,
        t.known_through,
        sum(f.fresh_g) as fresh_g,
        sum(f.fresh_g) filter (where t.containers is not null) as contained_fresh,
        sum(f.fresh_g) filter (where t.finished) as fresh_g_finished,
        sum(f.pickings) as pickings,
        sum(f.pickings_derived) as pickings_derived
    from found as t
    inner join unit_flushes as f on f.unit = t.unit
    group by t.group_id, f.flush, t.known_through
),
flush_numbers as (
    select group_id, unnest(range(1, greatest(max(highest_flush), 1) + 1)) as flush from started group by group_id
),
counted as (
    select
        n.group_id,
        n.flush,
        coalesce(sum(s.units) filter (where s.known_through >= n.flush), 0)::bigint as units_known,
        coalesce(sum(s.units) filter (where s.known_through < n.flush), 0)::bigint as units_not_yet,
        sum(s.containers) filter (where s.known_through >= n.flush) as contained_in,
        coalesce(
            min(s.first_size) filter (where s.known_through >= n.flush)
            = max(s.last_size) filter (where s.known_through >= n.flush)
            and sum(s.units_sized) filter (where s.known_through >= n.flush)
            = sum(s.units_contained) filter (where s.known_through >= n.flush),
            false
        ) as alike
    from flush_numbers as n
    inner join started as s on s.group_id = n.group_id
    group by n.group_id, n.flush
),
first_flush as (
    select n.group_id, n.flush, sum(f.fresh_g) as fresh_g
    from flush_numbers as n
    inner join gave as f on f.group_id = n.group_id and f.flush = 1 and f.known_through >= n.flush
    group by n.group_id, n.flush
),
own_flush as (
    select
        group_id,
        flush,
        sum(fresh_g) filter (where known_through >= flush) as fresh_g,
        sum(contained_fresh) filter (where known_through >= flush) as contained_fresh,
        sum(fresh_g_finished) as fresh_g_finished,
        sum(pickings)::bigint as pickings,
        sum(pickings_derived)::bigint as pickings_derived
    from gave
    group by group_id, flush
),
finished as (
    select group_id, sum(fresh_g_finished) as fresh_g from own_flush group by group_id
)
select
    c.group_id,
    c.flush,
    c.units_known,
    c.units_not_yet,
    coalesce(o.fresh_g, 0)::double as fresh_g,
    case when c.alike then coalesce(o.contained_fresh, 0)::double / nullif(c.contained_in::double, 0) end
        as fresh_g_per_container,
    100 * coalesce(o.fresh_g_finished, 0)::double / nullif(f.fresh_g::double, 0) as share_pct,
    coalesce(o.fresh_g, 0)::double / nullif(i.fresh_g::double, 0) as decline_vs_first,
    coalesce(o.pickings, 0) as pickings,
    coalesce(o.pickings_derived, 0) as pickings_derived,
    100 * coalesce(o.pickings_derived, 0)::double / nullif(coalesce(o.pickings, 0), 0) as derived_pct
from counted as c
left join own_flush as o on o.group_id = c.group_id and o.flush = c.flush
left join first_flush as i on i.group_id = c.group_id and i.flush = c.flush
left join finished as f on f.group_id = c.group_id
order by c.group_id, c.flush
