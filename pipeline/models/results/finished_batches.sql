-- What did the units of each batch that finished in the month give? Masses in g, sums over sums.
-- Grain: one row per batch with a unit finished in the month.
-- reads: batches, unit_states
-- writes: nothing
select
    s.batch,
    min(coalesce(b.substrate, '')) as substrate,
    count(*) as units,
    count(*) filter (where s.dry_g is null) as units_without_dry_mass,
    sum(s.fresh_g)::double as fresh_g,
    sum(s.dry_g)::double as substrate_dry_g,
    100 * nullif(sum(s.fresh_g) filter (where s.dry_g is not null), 0)::double / nullif(sum(s.dry_g)::double, 0) as be_pct
from unit_states as s
inner join batches as b on b.line = s.batch_line
where s.finished
    and coalesce(s.closed_on, s.lapses_on) between getvariable('month_first') and getvariable('month_last')
group by s.batch
order by s.batch
