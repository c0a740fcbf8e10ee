-- How far is each unit known at the as-of date? known_through: the highest flush that it is known through; 0 for none,
-- 32767 for a closed or lapsed unit, which is known through every flush.
-- Grain: one row per unit.
-- reads: unit_flushes, unit_pins, units
-- writes: unit_states
create or replace temp table unit_states as
with picked as (
    select
        unit,
        sum(fresh_g) as fresh_g,
        sum(fresh_g_pooled) as fresh_g_pooled,
        coalesce(sum(fresh_g) filter (where flush = 1), 0) as fresh_g_flush1,
        coalesce(sum(fresh_g) filter (where flush <= getvariable('through')), 0) as fresh_g_through,
        min(first_day) as first_picked,
        max(last_day) as last_picked,
        max(flush) as highest_flush,
        max(flush) filter (where settled_on <= getvariable('as_of')) as settled_flush
    from unit_flushes
    group by unit
),
pinned as (
    select unit, min(seen_on) as first_pins, max(flush) as highest_pins from unit_pins group by unit
),
aged as (
    select
        u.unit,
        case
            when p.last_picked is not null then p.last_picked + getvariable('lapse_days')::integer
            when u.inoculated_on is not null then u.inoculated_on + getvariable('lapse_unpicked_days')::integer
        end as lapses_on
    from units as u
    left join picked as p on p.unit = u.unit
)
select
    u.unit,
    u.batch_line,
    u.batch,
    u.container,
    u.inoculated_on,
    u.dry_g,
    u.dry_source,
    u.wet_g,
    u.spawn_g,
    u.closed_on,
    u.closed_by,
    u.cause,
    u.closed_on is not null as closed,
    u.closed_on is null and coalesce(a.lapses_on <= getvariable('as_of'), false) as lapsed,
    a.lapses_on,
    u.closed_on is not null or coalesce(a.lapses_on <= getvariable('as_of'), false) as finished,
    coalesce(u.closed_by = 'contaminated' and (p.first_picked is null or p.first_picked > u.closed_on), false)
        as contaminated_before_pick,
    case
        when u.closed_on is not null or a.lapses_on <= getvariable('as_of') then 32767
        else greatest(
            coalesce(p.highest_flush - 1, 0),
            coalesce(n.highest_pins - 1, 0),
            coalesce(p.settled_flush, 0)
        )
    end as known_through,
    coalesce(p.fresh_g, 0) as fresh_g,
    coalesce(p.fresh_g_pooled, 0) as fresh_g_pooled,
    coalesce(p.fresh_g_flush1, 0) as fresh_g_flush1,
    coalesce(p.fresh_g_through, 0) as fresh_g_through,
    p.first_picked,
    p.last_picked,
    n.first_pins,
    coalesce(p.highest_flush, 0) as highest_flush
from units as u
left join picked as p on p.unit = u.unit
left join pinned as n on n.unit = u.unit
left join aged as a on a.unit = u.unit
