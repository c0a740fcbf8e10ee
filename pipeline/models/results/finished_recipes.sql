-- What did the units of each recipe that finished in the month give? Masses in g, sums over sums.
-- Grain: one row per substrate, treatment and spawn form with a unit finished in the month.
-- reads: batches, unit_states
-- writes: nothing
select
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    count(distinct s.batch_line) as batches,
    count(distinct s.batch_line) filter (where s.dry_g is not null) as batches_in_be,
    count(*) as units,
    count(*) filter (where s.dry_g is null) as units_without_dry_mass,
    sum(s.fresh_g)::double as fresh_g,
    100 * nullif(sum(s.fresh_g) filter (where s.dry_g is not null), 0)::double / nullif(sum(s.dry_g)::double, 0) as be_pct
from unit_states as s
inner join batches as b on b.line = s.batch_line
where s.finished
    and coalesce(s.closed_on, s.lapses_on) between getvariable('month_first') and getvariable('month_last')
group by coalesce(b.substrate, ''), coalesce(b.treatment, ''), coalesce(b.spawn_form, '')
order by substrate, treatment, spawn_form
