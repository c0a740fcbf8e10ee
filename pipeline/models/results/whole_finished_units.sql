-- Which BE (%) had each unit that finished? As trials are usually printed: without those thrown out for contamination
-- before a first picking.
-- Grain: one row per closed or lapsed unit with known dry mass that was not thrown out before a picking.
-- reads: batches, unit_states
-- writes: nothing
select
    s.batch,
    coalesce(b.substrate, '') as substrate,
    100 * s.fresh_g::double / s.dry_g::double as be_pct
from unit_states as s
inner join batches as b on b.line = s.batch_line
where s.finished and s.dry_g > 0 and not s.contaminated_before_pick
