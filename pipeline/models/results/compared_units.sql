-- What each unit adds to a comparison. For each measure: NAME_over and NAME_under, whose
-- sums over a soak's units at one level are divided; NAME_resolved: whether the unit is far enough to be compared,
-- through the flush asked for or, with to_day, up to that age in days. What it gave later is not in it, so that all
-- units are followed to the same flush or age. Masses in g. pins_*, colonised_*: how it stands to its pins and to being
-- colonised (unit_pinning, unit_colonising); null without a day of inoculation. holes: with which it went into the flush
-- asked for (unit_holes); null where nothing says so. margin_over, margin_per_day_over: g, in place of which comes what they
-- brought less what they cost (compared_money.sql); margin_per_day counts the whole cycle, over container-days with the days that a place
-- stands empty after it. kg_*, g_per_litre_*: over containers, null where those of a batch weighed together are unlike,
-- and over litres; size: see unit_sizes. start_*: what starting it took. pickings_derived: those with a blank flush cell.
-- Grain: one row per unit.
-- reads: counted_pickings, unit_colonising, unit_flushes, unit_holes, unit_pinning, unit_sizes,
--     unit_starts, unit_states, unit_waits
-- writes: nothing
with picked as (
    select
        p.unit,
        sum(p.fresh_weight_g) as fresh_g,
        sum(p.culled_g) as culled_g,
        sum(p.fresh_weight_g) filter (where p.stage_rank is not null) as staged_g,
        sum(p.fresh_weight_g) filter (where p.stage_rank >= getvariable('late_rank')) as late_g
    from counted_pickings as p
    group by p.unit
),
flush_counts as (
    select unit, sum(pickings)::bigint as pickings, sum(pickings_derived)::bigint as pickings_derived
    from unit_flushes
    group by unit
),
last_flush as (
    select unit, fresh_g from unit_flushes where flush = getvariable('through')
),
pins as (
    select unit, days, state from unit_waits where place = 2
),
colonised as (
    select unit, days, state from unit_waits where place = 1
),
next_flush as (
    select unit, days
    from unit_waits
    where place > 5 and place = 4 + getvariable('through')
),
followed as (
    select
        s.*,
        case
            when getvariable('to_day') is null then s.known_through >= getvariable('through')
            else coalesce(getvariable('as_of') - s.inoculated_on >= getvariable('to_day'), false)
        end as far_enough,
        s.known_through >= getvariable('through') as flush_resolved
    from unit_states as s
)
select
    t.unit,
    t.batch_line,
    t.inoculated_on,
    coalesce(p.fresh_g, 0)::double as be_over,
    t.dry_g::double as be_under,
    t.far_enough as be_resolved,
    coalesce(w.days, 0)::double as days_over,
    (w.days is not null)::integer::double as days_under,
    coalesce(w.state, 'noted') <> 'not yet' as days_resolved,
    coalesce(c.days, 0)::double as colonised_over,
    (c.days is not null)::integer::double as colonised_under,
    coalesce(c.state, 'noted') <> 'not yet' as colonised_resolved,
    coalesce(x.days, 0)::double as next_flush_over,
    (x.days is not null)::integer::double as next_flush_under,
    t.flush_resolved or x.days is not null as next_flush_resolved,
    coalesce(l.fresh_g, 0)::double as decline_over,
    t.fresh_g_flush1::double as decline_under,
    t.flush_resolved as decline_resolved,
    (t.finished and t.highest_flush = 0)::integer::double as losses_over,
    1.0::double as losses_under,
    t.finished or t.highest_flush > 0 as losses_resolved,
    coalesce(p.culled_g, 0)::double as culled_over,
    coalesce(p.fresh_g, 0)::double as culled_under,
    t.far_enough as culled_resolved,
    coalesce(p.late_g, 0)::double as late_over,
    coalesce(p.staged_g, 0)::double as late_under,
    t.far_enough as late_resolved,
    coalesce(o.holes, '') as holes,
    coalesce(p.fresh_g, 0)::double as margin_over,
    z.containers::double as margin_under,
    t.far_enough as margin_resolved,
    t.fresh_g::double as margin_per_day_over,
    z.containers * nullif(
        case when t.finished then coalesce(t.closed_on, t.lapses_on) else getvariable('as_of') end
        - t.inoculated_on + getvariable('empty_days'),
        0
    )::double as margin_per_day_under,
    t.finished as margin_per_day_resolved,
    coalesce(p.fresh_g, 0)::double / 1000 as kg_over,
    case when a.size is not null then a.containers end::double as kg_under,
    t.far_enough as kg_resolved,
    coalesce(p.fresh_g, 0)::double as g_per_litre_over,
    a.litres::double as g_per_litre_under,
    t.far_enough as g_per_litre_resolved,
    coalesce(a.size, '') as size,
    z.containers::double as start_containers,
    t.spawn_g::double as start_spawn_g,
    t.dry_g::double as start_dry_g,
    n.fate as pins_fate,
    n.days::double as pins_day,
    k.fate as colonised_fate,
    k.days::double as colonised_day,
    coalesce(f.pickings, 0) as pickings,
    coalesce(f.pickings_derived, 0) as pickings_derived
from followed as t
inner join unit_sizes as a on a.unit = t.unit
left join picked as p on p.unit = t.unit
left join last_flush as l on l.unit = t.unit
left join pins as w on w.unit = t.unit
left join colonised as c on c.unit = t.unit
left join next_flush as x on x.unit = t.unit
left join unit_holes as o on o.unit = t.unit
left join unit_starts as z on z.unit = t.unit and z.containers > 0
left join unit_pinning as n on n.unit = t.unit
left join unit_colonising as k on k.unit = t.unit
left join flush_counts as f on f.unit = t.unit
order by t.unit
