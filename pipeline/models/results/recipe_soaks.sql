-- What did the units of each soak that finished in the days give, by recipe? A soak that held several recipes has a row
-- in each. Masses in g, sums over sums; fresh_g and clean_fresh_g are of the units with a dry mass.
-- Grain: one row per substrate, treatment, spawn form and soak with a unit finished in the days.
-- reads: batches, unit_states
-- writes: nothing
select
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    count(*) as units,
    count(*) filter (where s.dry_g is null) as units_without_dry_mass,
    count(*) filter (where s.contaminated_before_pick) as contaminated_before_pick,
    coalesce(sum(s.fresh_g) filter (where s.dry_g is not null), 0)::double as fresh_g,
    coalesce(sum(s.dry_g), 0)::double as dry_g,
    coalesce(sum(s.fresh_g) filter (where s.dry_g is not null and not s.contaminated_before_pick), 0)::double as clean_fresh_g,
    coalesce(sum(s.dry_g) filter (where not s.contaminated_before_pick), 0)::double as clean_dry_g
from unit_states as s
inner join batches as b on b.line = s.batch_line
where s.finished
    and coalesce(s.closed_on, s.lapses_on) between getvariable('month_first') and getvariable('month_last')
group by coalesce(b.substrate, ''), coalesce(b.treatment, ''), coalesce(b.spawn_form, ''), b.soak_key
order by substrate, treatment, spawn_form, b.soak_key
