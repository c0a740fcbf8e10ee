-- Which units finished in the month, by what, and with which biological efficiency? Masses in g.
-- Grain: one row per unit that was closed, or else lapsed, in the month.
-- reads: batches, fillings, unit_kinds, unit_states
-- writes: nothing
select
    s.batch,
    coalesce(s.container, '') as container,
    coalesce(b.strain, '') as strain,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    coalesce(s.closed_on, s.lapses_on) as finished_on,
    coalesce(s.closed_by, 'lapsed') as finished_by,
    s.fresh_g::double as fresh_g,
    s.dry_g::double as substrate_dry_g,
    100 * s.fresh_g::double / nullif(s.dry_g::double, 0) as be_pct,
    s.contaminated_before_pick,
    coalesce(k.kind, '') as kind,
    coalesce(f.file, b.file) as file,
    coalesce(f.row, b.row) as row
from unit_states as s
inner join batches as b on b.line = s.batch_line
left join unit_kinds as k on k.unit = s.unit
left join fillings as f on f.line = s.unit
where s.finished
    and coalesce(s.closed_on, s.lapses_on) between getvariable('month_first') and getvariable('month_last')
order by s.batch, s.container nulls first
