-- What spawn went into each unit, what did it give, is that known, and how does it stand to its pins? Masses in g. known:
-- finished, or known through the flush asked for (of_flush); gave_g: what it gave so far, or up to that flush.
-- followed_g, followed: what it gave through the flush to which units are followed in a comparison, and whether it is known
-- through that. rejected: pickings set aside that may be its own. pins_fate, pins_days: see unit_pinning; blank and nan
-- without a day of inoculation; unknown masses are nan. What is the same for a whole batch stands in compared_batches.
-- Grain: one row per unit.
-- reads: unit_groups, unit_pinning, unit_rejected, unit_states
-- writes: nothing
with rejected as (
    select unit, count(distinct line) as pickings from unit_rejected group by unit
)
select
    s.unit,
    g.group_id,
    s.batch_line,
    s.inoculated_on,
    coalesce(s.dry_g::double, 'nan'::double) as dry_g,
    coalesce(s.spawn_g::double, 'nan'::double) as spawn_g,
    case when getvariable('of_flush') > 0 then s.known_through >= getvariable('of_flush') else s.finished end as known,
    case when getvariable('of_flush') > 0 then s.fresh_g_through else s.fresh_g end::double as gave_g,
    s.fresh_g_through::double as followed_g,
    s.known_through >= getvariable('through') as followed,
    s.finished or s.highest_flush > 0 as fate_known,
    s.finished and s.highest_flush = 0 as lost,
    coalesce(p.fate, '') as pins_fate,
    coalesce(p.days::double, 'nan'::double) as pins_days,
    coalesce(a.pickings, 0) as rejected
from unit_states as s
inner join unit_groups as g on g.unit = s.unit
left join unit_pinning as p on p.unit = s.unit
left join rejected as a on a.unit = s.unit
order by s.unit
