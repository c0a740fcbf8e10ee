-- What units are there at the as-of date? A unit is a filling; or the whole batch, when any of its pickings is pooled or it
-- has no filling rows. Masses in g. unit: the line of its filling, or of its batch. rung: of its dry mass, as in
-- filling_shares; null for a whole batch. What is known of them stands in unit_states.
-- Grain: one row per unit.
-- reads: batches, filling_shares, whole_units
-- writes: units
create or replace temp table units as
select
    w.batch_line as unit,
    w.batch_line,
    true as whole,
    b.inoculated_on,
    b.dry_g,
    null::smallint as rung,
    try_cast(b.substrate_wet_kg * 1000 as decimal(18, 9)) as wet_g,
    try_cast(b.spawn_kg * 1000 as decimal(18, 9)) as spawn_g
from whole_units as w
inner join batches as b on b.line = w.batch_line
union all
select s.line, s.batch_line, false, s.inoculated_on, s.dry_g, s.rung, s.wet_g, s.spawn_g
from filling_shares as s
anti join whole_units as w on w.batch_line = s.batch_line
where s.inoculated_on is null or s.inoculated_on <= getvariable('as_of')
