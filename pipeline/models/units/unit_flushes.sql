-- What did each unit give in each flush, up to the as-of date? Masses in g.
-- pickings_derived: those with a blank flush cell. settled_on: the day from which the flush is
-- known to be over, flush_settled_days after its last picking.
-- Grain: one row per unit and flush picked.
-- reads: picked_so_far, whole_units
-- writes: unit_flushes
create or replace temp table unit_flushes as
with own as (
    select p.filling_line as unit, p.flush, p.fresh_g, 0::decimal(38, 3) as fresh_g_pooled, p.pickings,
        p.pickings_derived, p.first_day, p.last_day
    from picked_so_far as p
    anti join whole_units as w on w.batch_line = p.batch_line
    union all
    select
        p.batch_line,
        p.flush,
        sum(p.fresh_g),
        coalesce(sum(p.fresh_g) filter (where p.filling_line is null), 0),
        sum(p.pickings)::bigint,
        sum(p.pickings_derived)::bigint,
        min(p.first_day),
        max(p.last_day)
    from picked_so_far as p
    inner join whole_units as w on w.batch_line = p.batch_line
    group by p.batch_line, p.flush
)
select
    unit,
    flush,
    fresh_g,
    fresh_g_pooled,
    pickings,
    pickings_derived,
    first_day,
    last_day,
    last_day + getvariable('flush_settled_days')::integer as settled_on
from own
