-- How far is each unit known at the as-of date, and what are its cells? Masses in g. container: null for a whole batch.
-- known_through: the highest flush that it is known through; 0 for none, 32767 for a closed or lapsed unit, which is known
-- through every flush.
-- Grain: one row per unit.
-- reads: batches, stage_fillings, unit_ends, unit_flushes, unit_pins, units
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
known as (
    select
        u.unit,
        u.batch_line,
        b.batch,
        f.container,
        u.inoculated_on,
        u.dry_g,
        case
            when u.whole and u.dry_g is not null then 'batch'
            else ['weighed', 'from fill', 'by fill', 'by volume', 'evenly'][u.rung]
        end as dry_source,
        u.wet_g,
        u.spawn_g,
        e.closed_on,
        e.closed_by,
        e.cause,
        case
            when p.last_picked is not null then p.last_picked + getvariable('lapse_days')::integer
            when u.inoculated_on is not null then u.inoculated_on + getvariable('lapse_unpicked_days')::integer
        end as lapses_on,
        p.fresh_g,
        p.fresh_g_pooled,
        p.fresh_g_flush1,
        p.fresh_g_through,
        p.first_picked,
        p.last_picked,
        p.highest_flush,
        p.settled_flush,
        n.first_pins,
        n.highest_pins
    from units as u
    inner join batches as b on b.line = u.batch_line
    left join stage_fillings as f on f.line = u.unit
    left join unit_ends as e on e.unit = u.unit
    left join picked as p on p.unit = u.unit
    left join pinned as n on n.unit = u.unit
)
select
    unit,
    batch_line,
    batch,
    container,
    inoculated_on,
    dry_g,
    dry_source,
    wet_g,
    spawn_g,
    closed_on,
    closed_by,
    cause,
    closed_on is not null as closed,
    closed_on is null and coalesce(lapses_on <= getvariable('as_of'), false) as lapsed,
    lapses_on,
    closed_on is not null or coalesce(lapses_on <= getvariable('as_of'), false) as finished,
    coalesce(closed_by = 'contaminated' and (first_picked is null or first_picked > closed_on), false)
        as contaminated_before_pick,
    case
        when closed_on is not null or lapses_on <= getvariable('as_of') then 32767
        else greatest(coalesce(highest_flush - 1, 0), coalesce(highest_pins - 1, 0), coalesce(settled_flush, 0))
    end as known_through,
    coalesce(fresh_g, 0) as fresh_g,
    coalesce(fresh_g_pooled, 0) as fresh_g_pooled,
    coalesce(fresh_g_flush1, 0) as fresh_g_flush1,
    coalesce(fresh_g_through, 0) as fresh_g_through,
    first_picked,
    last_picked,
    first_pins,
    coalesce(highest_flush, 0) as highest_flush
from known
