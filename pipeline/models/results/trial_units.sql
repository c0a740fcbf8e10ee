-- How large was the biological efficiency of each finished container, and out of which soak and recipe did it come?
-- be_pct: fresh over dry substrate mass x 100, all flushes; one lost counts with what it gave. Batches weighed together
-- tell nothing of their containers and are in no row. soak_key: its soak, or its own batch. recipe: what was put in.
-- spawn_pct: spawn over wet substrate of the batch, in whole %.
-- Grain: one row per finished filling with dry mass whose batch was not weighed together.
-- reads: batches, unit_states
-- writes: nothing
select
    b.soak_key,
    b.batch,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.strain, '') as strain,
    concat_ws(
        ' | ',
        coalesce(b.substrate, ''),
        coalesce(b.strain, ''),
        coalesce(b.treatment, ''),
        coalesce(b.spawn_form, ''),
        coalesce(b.supplement, ''),
        coalesce(round(100 * b.spawn_kg::double / nullif(b.substrate_wet_kg::double, 0))::integer::varchar, '')
    ) as recipe,
    100 * s.fresh_g::double / s.dry_g::double as be_pct
from unit_states as s
inner join batches as b on b.line = s.batch_line
where s.finished and s.container is not null and s.dry_g > 0
order by soak_key, b.batch, s.container
