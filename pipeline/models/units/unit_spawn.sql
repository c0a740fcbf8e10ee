-- What spawn went into each unit, what did it give, and is that known? Masses in g. rate_wet_pct, rate_dry_pct: the
-- batch's spawn over its wet and its dry substrate; none for liquid spawn and plugs. known: finished, or known through
-- the flush asked for; gave_g: what it gave so far, or up to that flush. rejected: pickings set aside that may be its own.
-- Grain: one row per unit.
-- reads: batches, unit_groups, unit_rejected, unit_states, unit_waits
-- writes: unit_spawn
create or replace temp table unit_spawn as
with rejected as (
    select unit, count(distinct line) as pickings from unit_rejected group by unit
),
pins as (
    select unit, days from unit_waits where place = 2 and state = 'noted'
)
select
    s.unit,
    g.group_id,
    s.batch,
    b.soak_key,
    dense_rank() over (order by b.soak_key) as soak_no,
    dense_rank() over (order by s.batch_line) as batch_no,
    s.inoculated_on,
    b.spawn_form,
    b.spawn_lot,
    case
        when coalesce(b.spawn_form, '') not in ('liquid', 'plug') and b.spawn_kg > 0
            then 100 * b.spawn_kg::double / nullif(b.substrate_wet_kg, 0)::double
    end as rate_wet_pct,
    case
        when coalesce(b.spawn_form, '') not in ('liquid', 'plug') and b.spawn_kg > 0
            then 100000 * b.spawn_kg::double / nullif(b.dry_g, 0)::double
    end as rate_dry_pct,
    s.dry_g,
    s.spawn_g,
    case when getvariable('of_flush') > 0 then s.known_through >= getvariable('of_flush') else s.finished end as known,
    case when getvariable('of_flush') > 0 then s.fresh_g_through else s.fresh_g end as gave_g,
    s.finished or s.highest_flush > 0 as fate_known,
    s.finished and s.highest_flush = 0 as lost,
    p.days as days_to_pins,
    coalesce(a.pickings, 0) as rejected
from unit_states as s
inner join unit_groups as g on g.unit = s.unit
inner join batches as b on b.line = s.batch_line
left join pins as p on p.unit = s.unit
left join rejected as a on a.unit = s.unit
